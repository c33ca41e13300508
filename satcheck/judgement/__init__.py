"""From measured cells to words: cell, spot, zone, part, and what to do next."""
