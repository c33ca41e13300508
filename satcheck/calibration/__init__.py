"""From labelled parts to bounds, and what the bounds promise."""
