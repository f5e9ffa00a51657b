"""Threads of the tests, and of all that they start."""

import os

# Read once, when NumPy and scikit-learn are loaded, which no plugin does before this. The matrices are small, and the
# test workers share the cores.
for variable in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(variable, "1")
