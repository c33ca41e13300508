"""Resin saturation of laminated sockets, measured from phone photos."""

__version__ = "0.1.0"
