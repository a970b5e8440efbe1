"""The cost model: it follows the work, it knows the sun, its memory is that of a real run, and it refuses what cannot be had."""

from __future__ import annotations

import dataclasses
import shutil
from functools import cache

import numpy as np
import pytest

from tests.benchmarks.bench_cost import run
from tests.scan.grounds import hills, site
from tunnelsite import House, screen
from tunnelsite.core.errors import ResourceShortage
from tunnelsite.io.write.scratch import FROM_BYTES, Scratch
from tunnelsite.kernels import first_run
from tunnelsite.screening.run_cost import Work, estimated, sun_directions
from tunnelsite.settings.model import crop_period, settings_from
from tunnelsite.sun.irradiance import clear_sky_steps
from tunnelsite.sun.position import Observer
from tunnelsite.sun.season import season_sun

SMALL = Work(4_000_000, 4_000_000, 1_000_000, (350.0,))


def test_more_work_costs_more_and_more_cores_less() -> None:
    least = estimated(SMALL, cores=2)
    for change in (
        {"cells": 8_000_000},
        {"frames": 3},
        {"directions": 48.0},
        {"surfaces": 2},
        {"winds": 4},
        {"pad_cells": (350.0, 350.0)},
    ):
        more = estimated(dataclasses.replace(SMALL, **change), cores=2)
        assert more.seconds > least.seconds and more.memory_bytes >= least.memory_bytes
    assert estimated(SMALL, cores=8).seconds < least.seconds < estimated(SMALL, cores=1).seconds
    assert least.seconds_range[0] < least.seconds < least.seconds_range[1]


def test_memory_stays_below_6_gib_for_20000_cells_square_and_goes_to_disk() -> None:
    large = dataclasses.replace(SMALL, cells=400_000_000, source_cells=400_000_000, parcel_cells=390_000_000)
    assert estimated(large).memory_bytes < 6 * 2**30 < estimated(large, scratch_from_bytes=1 << 60).memory_bytes
    assert estimated(large).scratch_bytes > 10 * 4 * large.cells
    in_memory = dataclasses.replace(SMALL, cells=FROM_BYTES // 4 - 1)
    assert 0 < estimated(in_memory).scratch_bytes < 4 * in_memory.cells  # columns of placements alone
    assert estimated(dataclasses.replace(in_memory, parcel_cells=100_000)).scratch_bytes == 0


@cache
def year(lat: float):
    return clear_sky_steps(Observer(lat, -80.0, 100.0))


@pytest.mark.parametrize("months", ["01-01:12-31", "10-01:04-30", "06-01:06-30"])
@pytest.mark.parametrize("lat", [-38.0, 0.5, 42.0, 60.0])
def test_directions_with_sun_are_those_of_the_sun_table(lat: float, months: str) -> None:
    sun = season_sun(year(lat), crop_period(months))
    up = sun[(sun[:, 1] > 0) & (sun[:, 2] > 0), 0] % 360.0
    found = len(np.unique(np.concatenate([up // 10 * 10, (up // 10 * 10 + 10) % 360])))
    assert abs(sun_directions(lat, months, 36) - found) <= 3


def test_memory_of_a_real_run_within_a_quarter() -> None:
    if not first_run._on_disk():
        run(200, azimuths=8)  # compiling the kernels takes more memory than running them
    found = run(800, azimuths=8)
    assert 0.75 < found["memory_bytes"] / found["bytes_true"] < 1.25


def test_what_clearly_does_not_fit_is_refused_before_anything_is_computed(monkeypatch) -> None:
    farm, settings = site(hills(80, 90, 1)), settings_from({"azimuths": 8})

    def never(*arguments, **more):
        raise AssertionError("work was started")

    monkeypatch.setattr("tunnelsite.screening.run.prepared", never)
    monkeypatch.setattr("tunnelsite.screening.run_cost.available_bytes", lambda: 100_000_000)
    with pytest.raises(ResourceShortage, match="of memory") as short:
        screen(farm, House.parse("20x48ft"), settings=settings)
    assert short.value.exit_status == 4
    monkeypatch.setattr("tunnelsite.screening.run_cost.available_bytes", lambda: 1 << 40)
    monkeypatch.setattr(shutil, "disk_usage", lambda place: shutil._ntuple_diskusage(10, 10, 0))
    with pytest.raises(ResourceShortage, match="scratch files"):
        screen(dataclasses.replace(farm, store=Scratch(1)), House.parse("20x48ft"), settings=settings)
