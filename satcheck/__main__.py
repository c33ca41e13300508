"""``python -m satcheck`` is the same as ``satcheck``."""

from satcheck.cli.app import main

if __name__ == "__main__":
    main()
