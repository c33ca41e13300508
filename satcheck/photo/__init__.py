"""Phone photos to pixels: told by their content, checked by their header, upright and sRGB."""
