"""The weave's pitch, directions and visibility, as a dense map."""
