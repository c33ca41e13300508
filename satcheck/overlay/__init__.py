"""The verdict drawn on the photo, so that it reads at a glance on a phone."""
