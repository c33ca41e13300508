"""The page that every PDF is drawn on, written as bytes.

reportlab's default is text (ASCII85), which takes it 0.05 s for each picture and a quarter more
room. It is a setting of the whole process: here, so that no PDF depends on what else was imported.
"""

from reportlab import rl_config
from reportlab.pdfgen.canvas import Canvas

__all__ = ["CREATOR", "Canvas"]

CREATOR = "satcheck"
"""What every PDF names as its maker: by that an older one of ours is told from another's."""

rl_config.useA85 = 0
