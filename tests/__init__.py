"""Tests; what libraries read once, as they are imported, is set here, which comes before any of them."""

import os
import sys

# Threads keep their core busy for a while after each parallel kernel, or each product of matrices, in case there is another; two
# tests at a time take that core from each other. Benchmarks, which pytest does not run, take them as a user does.
if "pytest" in sys.modules:
    os.environ.setdefault("OMP_WAIT_POLICY", "PASSIVE")
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
