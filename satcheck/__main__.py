"""``python -m satcheck`` is the same as ``satcheck``, and both begin here.

Nothing but the standard library is imported before Ctrl+C is caught: the rest takes a while.
"""

import sys
from typing import NoReturn

STOPPED = 130
"""Exit status after Ctrl+C, as a shell gives it."""


def main() -> NoReturn:
    """Import the command line and run it; Ctrl+C ends it without a traceback."""
    try:
        from satcheck.cli.app import main as run

        run()
    except KeyboardInterrupt:
        sys.exit(STOPPED)


if __name__ == "__main__":
    main()
