"""Pages that open in any browser, offline: one HTML file each, from records alone."""
