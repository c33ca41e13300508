"""Large content as the ledger's file holds it: named by its sha256, compressed where that helps.

It is made where there is time for it: who appends holds the only writer's place.
"""

import hashlib
import zlib
from dataclasses import dataclass, field
from typing import Self

QUICK = 3  # zlib; a verdict waits for it
SAMPLE = 1 << 14  # bytes by which is told whether, and how, a content is worth compressing: of its
# middle, since a record begins with words
WORTH = 0.95  # of its size, beyond which a content stays as it is: a JPEG, say
# Runs of one byte and rare letters are all that base64 has to save: searching it for longer
# repeats takes three times as long and finds none (a record of 0.6 MB: 5 ms against 20).
AS_SMALL = 1.02


@dataclass(frozen=True)
class Blob:
    """Some large content.

    Attributes
    ----------
    sha256 : str
        Of the content.
    is_packed : bool
        Whether ``data`` is the content compressed by zlib.
    data : bytes
    """

    sha256: str
    is_packed: bool
    data: bytes = field(repr=False)

    @classmethod
    def of(cls, content: bytes) -> Self:
        """Return the blob of a content."""
        middle = max(0, len(content) - SAMPLE) // 2
        name, sample = hashlib.sha256(content).hexdigest(), content[middle : middle + SAMPLE]
        repeats, runs = (len(_packed(sample, way)) for way in (zlib.Z_DEFAULT_STRATEGY, zlib.Z_RLE))
        if min(repeats, runs) > WORTH * len(sample):
            return cls(name, False, content)
        way = zlib.Z_RLE if runs <= AS_SMALL * repeats else zlib.Z_DEFAULT_STRATEGY
        small = _packed(content, way)
        shrinks = len(small) < len(content)
        return cls(name, shrinks, small if shrinks else content)

    @property
    def content(self) -> bytes:
        """Return the content; raises zlib.error where it is damaged."""
        return zlib.decompress(self.data) if self.is_packed else self.data


def _packed(content: bytes, strategy: int) -> bytes:
    """Return a content compressed as zlib.decompress takes it (RFC 1950)."""
    packer = zlib.compressobj(QUICK, zlib.DEFLATED, zlib.MAX_WBITS, zlib.DEF_MEM_LEVEL, strategy)
    return packer.compress(content) + packer.flush()
