"""What all tests share."""

from __future__ import annotations

import contextlib
import functools
import gc
import importlib
import os
import signal
import tempfile
from dataclasses import replace
from multiprocessing.util import get_temp_dir
from pathlib import Path
from typing import TYPE_CHECKING

import numba
import numpy as np
import pytest
from hypothesis import HealthCheck, settings

if TYPE_CHECKING:
    from tunnelsite.core.elevation_error import ErrorModel
    from tunnelsite.plans.grading.error import EarthworkError
    from tunnelsite.plans.grading.plan import GradingPlan

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

# Where two work side by side, one compiles the kernels, which the first test below does for all of a screening's, while the other
# does what needs none, or both would compile the same; short files come last, so that neither waits for a long one at the end
# (--no-loadscope-reorder: see .ci/test).
NO_KERNELS = (
    "contract/test_types",
    "contract/test_style",
    "contract/test_docstrings",
    "io/test_hostile_files",
    "io/test_every_writer",
    "io/formats/",
    "docs/test_plain_english",
    "docs/test_architecture",
    "docs/test_claims",
    "core/test_sources",
)
AWAITED = (
    "hosts/gis/",
    "hosts/cli/test_report",
)  # need QGIS and a browser, which .ci/run may still be installing at first
TURNS = (
    ("kernels/test_first_run",),
    NO_KERNELS,
    ("hosts/", "contract/"),
    ("",),
    (*AWAITED, "core/", "sun/", "published/"),
)
NAMED_FIRST = (0, 1, 4, 2, 3)  # the order in which a file's turn is looked for: the last but one takes all that is left


MANY_BYTES, PLACES_KEPT = 8 * 1000, 60  # what is kept of the suns, below

# How firm a ranking is takes 200 drawn grounds, two thirds of the time of screening a small farm, and so does how sure the volumes of
# a plan are: where these are not what is tested, a few grounds go through the same code. These folders and files take every ground, as whatever runs in a process of
# its own does, and as many threads as there are, which cost more than they save where two tests run side by side.
USUAL_DRAWS, FEW_DRAWS = 200, 20
EVERY_DRAW = (
    "desk/",
    "hosts/gis/",
    "hosts/server/",
    "region/",
    "scan/firmness/",
    "whole_run/test_no_network",
    "whole_run/test_processes",
)
EVERY_THREAD = ("kernels/", "published/", "region/", "whole_run/test_bad_inputs")

# Whole screenings, servers, browsers, processes of their own and long simulations: left out by -m "not slow".
SLOW = (
    "whole_run/",
    "region/",
    "hosts/",
    "desk/",
    "report/",
    "sample_farm/",
    "docs/",
    "screening/",
    "contract/test_example",
    "contract/test_plans",
    "contract/test_plug",
    "contract/test_providers",
    "contract/test_types",
    "criteria/test_earthwork",
    "decisions/test_explain",
    "drawing/test_phone_page.py::test_in_the_field",
    "gather/test_cell_errors",
    "gather/test_clouds",
    "gather/test_screening_of_gathered",
    "io/formats/test_cog",
    "io/formats/test_geopackage_faults",
    "io/test_",
    "kernels/light/test_horizon.py::test_rows_that_enter",
    "kernels/test_first_run",
    "plans/cost/test_plan",
    "plans/drainage/test_level_spreader",
    "plans/drainage/test_plan",
    "plans/grading/test_earth_balance",
    "plans/grading/test_error",
    "plans/grading/test_plan",
    "plans/grading/test_volumes_of",
    "plans/layout/test_plan",
    "plans/layout/test_thinned",
    "plans/sunchart/test_crowns",
    "plans/sunchart/test_ridge",
    "plans/test_",
    "processes/test_season_light",
    "scan/firmness/",
    "scan/test_exhaustive",
    "scan/test_far_ground",
    "scan/test_rounded_heights",
    "scan/test_tops",
    "sun/test_received",
    "sun/test_weather_fit",
)


@pytest.hookimpl(tryfirst=True)
def pytest_collection(session: pytest.Session) -> None:
    """Of two that read every test, the second goes from the last file to the first: each finds half of them compiled.

    All that is imported meanwhile stays, so that to look for what can go would be a quarter of the work.
    """
    gc.disable()
    config, home = session.config, Path(__file__).parent
    if (
        getattr(config, "workerinput", {}).get("workerid") == "gw1"
        and config.args_source == config.ArgsSource.TESTPATHS
    ):
        for path in sorted(home.rglob("test_*.py"), reverse=True):
            with contextlib.suppress(Exception, pytest.skip.Exception):  # pytest tells of it when it gets there
                importlib.import_module(".".join(path.relative_to(home.parent).with_suffix("").parts))


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put files into the order in which they are handed out; tests of a file stay as they are."""

    def turn(item: pytest.Item) -> int:
        place = item.nodeid.removeprefix("tests/")
        return next(k for k in NAMED_FIRST if place.startswith(TURNS[k]))

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
def _scratch_goes_with_the_tests(tmp_path_factory: pytest.TempPathFactory):
    """A folder for temporary files of their own: what a killed command leaves there, or a call that is made to fail, goes with it."""
    tmp_path_factory.getbasetemp()  # stays where pytest keeps it
    get_temp_dir()  # the sockets of multiprocessing's: goes with this process, after the last test
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder, pytest.MonkeyPatch.context() as patch:
        os.chmod(folder, 0o1777)  # some tests go on as another user
        patch.setenv("TMPDIR", folder)
        patch.setattr(tempfile, "tempdir", folder)
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
    """The versions of the installed packages are read once, not at every call."""
    from tunnelsite.screening import run_table

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(run_table, "version", functools.cache(run_table.version))
        yield


@pytest.fixture(scope="module", autouse=True)
def _little_is_drawn(request: pytest.FixtureRequest):
    """A screening draws few grounds, on one thread, but in the places named above."""
    from tunnelsite.decisions import robustness
    from tunnelsite.plans.cost import quantities
    from tunnelsite.plans.grading import grade
    from tunnelsite.report import candidate_study
    from tunnelsite.scan.firmness import rank_shares

    place = request.node.nodeid.removeprefix("tests/")
    drawn, spread, threads = rank_shares.rank_shares, grade.earthwork_error, numba.get_num_threads()

    def few(result, criteria, plan: rank_shares.DrawPlan) -> rank_shares.RankShares:
        if plan.draws != USUAL_DRAWS:
            return drawn(result, criteria, plan)
        return replace(drawn(result, criteria, replace(plan, draws=FEW_DRAWS)), plan=plan)

    def few_volumes(plan: GradingPlan, error: ErrorModel, draws: int) -> EarthworkError:
        if draws != USUAL_DRAWS:
            return spread(plan, error, draws)
        return replace(spread(plan, error, FEW_DRAWS), draws=draws)

    with pytest.MonkeyPatch.context() as patch:
        if not place.startswith(EVERY_DRAW):
            for module in (rank_shares, robustness):
                patch.setattr(module, "rank_shares", few)
            for module in (grade, quantities):
                patch.setattr(module, "earthwork_error", few_volumes)
            patch.setattr(candidate_study, "DRAWS", FEW_DRAWS)
        if not place.startswith(EVERY_THREAD):
            numba.set_num_threads(1)
        yield
    numba.set_num_threads(threads)


def pytest_collection_finish() -> None:
    """What was imported stays: the collector need not look through it again and again, nor at every few hundred objects."""
    gc.collect()
    gc.freeze()
    gc.enable()
    gc.set_threshold(20_000, 20, 20)
