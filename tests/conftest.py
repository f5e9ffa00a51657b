"""Threads and clock of the tests, and of all that they start, how hypothesis draws, and in which order files run."""

import os
import shutil
import sys
from collections.abc import Iterator

import pytest
from hypothesis import settings

from tests.durations import seconds_by_file
from tests.moments import NOW
from tests.shared import VARIABLE, shared_folder

# Read once, when NumPy and scikit-learn are loaded, which no plugin does before this. The matrices are small, and the
# test workers share the cores.
for variable in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(variable, "1")
os.environ["TRANSIT_NOW"] = NOW.isoformat()
# Where Python keeps no bytecode, each of the many servers and commands that tests start would compile all its modules.
if sys.dont_write_bytecode:
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    os.environ["PYTHONPYCACHEPREFIX"] = str(shared_folder() / "bytecode")
# Answers of a test change by what it does, not by what a server does by itself: tests of that turn it on.
os.environ["TRANSIT_QUICK_UPDATE"] = "false"
os.environ["TRANSIT_REFIT_AFTER"] = "off"

# In CI the same examples in every run: a failure there is of the change, not of the draw.
settings.register_profile("ci", derandomize=True, print_blob=True, deadline=None)
settings.register_profile("here", print_blob=True, deadline=None)
settings.load_profile("ci" if os.environ.get("CI") else "here")


@pytest.hookimpl(wrapper=True)
def pytest_sessionstart() -> Iterator[None]:
    """Make the shared folder before any other process of the run starts."""
    shared_folder()
    yield


def pytest_unconfigure(config: pytest.Config) -> None:
    """Remove the shared folder when the process that made it ends."""
    if not hasattr(config, "workerinput"):
        shutil.rmtree(os.environ.pop(VARIABLE), ignore_errors=True)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put files that take long first, so that no process is left with one at the end.

    The page's come before all others, together, since they share a browser. A file not yet in the table counts as long.
    """
    seconds = seconds_by_file()

    def place(item: pytest.Item) -> tuple[bool, float]:
        file = item.nodeid.partition("::")[0]
        return not file.startswith("tests/page/"), -seconds.get(file, 60.0)

    items.sort(key=place)
