"""Lessons: what starved looks like, shown, hidden, marked by the learner and scored."""
