"""The scale's verdict on a part beside the photo's, from the weighings that the ledger holds."""

from satcheck.errors import SatcheckError
from satcheck.ledger.book import Ledger
from satcheck.ledger.entries import Kind
from satcheck.ledger.sheets import newest_sheet, stored_weighing
from satcheck.model import Inspection
from satcheck.resin_and_photo import Beside, beside


def beside_photo(ledger: Ledger, part: str, inspection: Inspection) -> Beside | None:
    """Return what the scale says beside a photo of the part.

    None where there is no weighing, it has no target, or its figures are refused by now.
    """
    entry = newest_sheet(ledger, Kind.WEIGHING, part)
    if entry is None:
        return None
    try:
        return beside(stored_weighing(entry), inspection)
    except (SatcheckError, LookupError, TypeError, AttributeError):
        return None
