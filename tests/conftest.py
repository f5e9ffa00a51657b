"""Threads and clock of the tests, and of all that they start, and how hypothesis draws."""

import os

from hypothesis import settings

from tests.moments import NOW

# Read once, when NumPy and scikit-learn are loaded, which no plugin does before this. The matrices are small, and the
# test workers share the cores.
for variable in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(variable, "1")
os.environ["TRANSIT_NOW"] = NOW.isoformat()

# In CI the same examples in every run: a failure there is of the change, not of the draw.
settings.register_profile("ci", derandomize=True, print_blob=True, deadline=None)
settings.register_profile("here", print_blob=True, deadline=None)
settings.load_profile("ci" if os.environ.get("CI") else "here")
