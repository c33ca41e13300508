"""Where a photo can be believed, and why not elsewhere."""
