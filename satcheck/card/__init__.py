"""The reference card: its layout, its print, and how a photo of it is read."""
