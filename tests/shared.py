"""The folder that all processes of one run of the tests share, and nothing else."""

import os
from pathlib import Path
from tempfile import mkdtemp

VARIABLE = "TRANSIT_TEST_SHARED"


def shared_folder() -> Path:
    """Return the folder; the process that starts the run makes it and those that it starts find it."""
    if VARIABLE not in os.environ:
        os.environ[VARIABLE] = mkdtemp(prefix="transit-test-")
    return Path(os.environ[VARIABLE])
