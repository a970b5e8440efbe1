"""Tests; what libraries read once, as they are imported, is set here, which comes before any of them."""

import os
import shutil
import sys

import psutil

# Threads keep their core busy for a while after each parallel kernel, or each product of matrices, in case there is another; two
# tests at a time take that core from each other. Benchmarks, which pytest does not run, take them as a user does.
if "pytest" in sys.modules:
    os.environ.setdefault("OMP_WAIT_POLICY", "PASSIVE")
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# Tests make some hundred thousand small files. On a disk each takes up to 0.4 ms of processor time, in memory a hundredth of it.
MEMORY, ROOM_BYTES = "/dev/shm", 6 << 30
if "pytest" in sys.modules and "TMPDIR" not in os.environ and os.access(MEMORY, os.W_OK):  # of Linux
    free = shutil.disk_usage(MEMORY).free, psutil.virtual_memory().available  # in containers often little
    if min(free) > ROOM_BYTES:
        os.environ["TMPDIR"] = MEMORY
