"""Photos of one part in a row: aligned, compared zone by zone, and what has not been seen."""
