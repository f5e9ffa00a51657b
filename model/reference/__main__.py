"""Print where the values of the tables come from: ``python -m model.reference``."""

import sys

from model.reference.provenance import provenance

if __name__ == "__main__":
    sys.stdout.write(f"{provenance()}\n")
