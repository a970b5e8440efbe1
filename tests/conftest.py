"""What all tests share."""

from __future__ import annotations

import gc
import os
import signal
import sys
from importlib.metadata import EntryPoints

import numpy as np
import pytest
from hypothesis import HealthCheck, settings

# OpenMP's threads keep their core busy for a while after each parallel kernel, in case there is another; two tests at a
# time take that core from each other. Read once, when numba loads OpenMP: hence here, before any test is imported.
os.environ.setdefault("OMP_WAIT_POLICY", "PASSIVE")

# Nothing here hangs on a power cut: no test waits for the disk, nor does a command that one starts (os.fsync: see below).
os.environ.setdefault("OGR_SQLITE_SYNCHRONOUS", "OFF")

# The first call of a kernel compiles it, which says nothing about the code; examples are the same in every run.
settings.register_profile(
    "tunnelsite", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow], max_examples=25
)
settings.load_profile("tunnelsite")

# Whoever starts the tests in the background may ignore these for them; the commands that tests interrupt would inherit that.
for _name, _usual in (("SIGINT", signal.default_int_handler), ("SIGHUP", signal.SIG_DFL), ("SIGTERM", signal.SIG_DFL)):
    if hasattr(signal, _name) and signal.getsignal(getattr(signal, _name)) == signal.SIG_IGN:
        signal.signal(getattr(signal, _name), _usual)

# Where two work side by side, one compiles the kernels while the other does what needs none, or both would compile the same;
# short files come last, so that nobody waits for a long one at the end (--no-loadscope-reorder: see .ci/test).
TURNS = (("contract/test_plugins.py",), ("io/", "contract/"), ("",), ("core/", "sun/", "published/"))


MANY_BYTES, PLACES_KEPT = 8 * 1000, 60  # what is kept of the suns, below

# Whole screenings, servers, browsers, processes of their own and long simulations: left out by -m "not slow".
SLOW = (
    "whole_run/",
    "region/",
    "hosts/",
    "desk/",
    "report/",
    "sample_farm/",
    "docs/",
    "contract/test_example",
    "contract/test_plug",
    "contract/test_types",
    "gather/test_clouds",
    "io/formats/test_cog",
    "io/formats/test_geopackage_faults",
    "io/test_",
    "plans/drainage/test_level_spreader",
    "plans/grading/test_volumes_of",
    "plans/test_",
    "scan/firmness/test_rank",
    "scan/test_exhaustive",
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put files into the order in which they are handed out; tests of a file stay as they are."""

    def turn(item: pytest.Item) -> int:
        place = item.nodeid.removeprefix("tests/")
        return next(k for k in (0, 1, 3, 2) if place.startswith(TURNS[k]))

    items.sort(key=turn)
    for item in items:
        if item.nodeid.removeprefix("tests/").startswith(SLOW):
            item.add_marker(pytest.mark.slow)


@pytest.fixture(scope="session", autouse=True)
def _disk_is_not_waited_for():
    """A sync fails where it would, but writes nothing out."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "fsync", lambda handle: os.fstat(handle) and None)
        yield


@pytest.fixture(scope="session", autouse=True)
def _each_sun_once():
    """The sun's way through a year, by far the dearest part of the screening of a small farm, is computed once for each place.

    What was computed is given again for the very same instants and place alone, as a copy.
    """
    from tunnelsite.sun import position

    computed, kept = position.sun_positions, {}

    def sun_positions(seconds: np.ndarray, place: position.Place) -> tuple[np.ndarray, np.ndarray]:
        asked = (np.asarray(seconds, float).tobytes(), place)
        if len(asked[0]) < MANY_BYTES:
            return computed(seconds, place)
        if asked not in kept:
            if len(kept) == PLACES_KEPT:
                kept.pop(next(iter(kept)))
            kept[asked] = computed(seconds, place)
        azimuth, elevation = kept[asked]
        return azimuth.copy(), elevation.copy()

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(position, "sun_positions", sun_positions)
        yield


@pytest.fixture(scope="session", autouse=True)
def _each_package_once():
    """What the installed packages offer is read once, not at every call of the catalogue."""
    from tunnelsite.core import catalogue

    read, kept = catalogue.entry_points, {}

    def entry_points(*, group: str) -> EntryPoints:
        asked = (group, *sys.path)
        if asked not in kept:
            kept[asked] = read(group=group)
        return kept[asked]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(catalogue, "entry_points", entry_points)
        yield


def pytest_collection_finish() -> None:
    """What was imported stays: the collector need not look through it again and again."""
    gc.collect()
    gc.freeze()
