"""richdem as a second engine: the reference of the built-in one at several sizes, and its own ways where they differ."""

from __future__ import annotations

import numpy as np
import pytest

from tests.scan.grounds import hills, site
from tunnelsite import House, Settings, screen
from tunnelsite.core.layers import Layer
from tunnelsite.kernels.water import by_richdem, fill, upslope
from tunnelsite.processes.contributing_area import PROCESS


@pytest.mark.parametrize("size", [(3, 3), (17, 40), (128, 130), (400, 300), (1000, 900)])
def test_filling_is_equal_at_every_size(size) -> None:
    ground = np.random.default_rng(size[0]).normal(0, 1, size).cumsum(0).astype(np.float32)
    assert np.array_equal(by_richdem.filled(ground), fill.filled(ground))


@pytest.mark.parametrize("size", [(5, 7), (64, 41), (120, 140), (700, 600)])
def test_areas_are_equal_down_the_same_directions_and_no_water_is_lost(size) -> None:
    ground = np.random.default_rng(5).normal(0, 1, size).cumsum(1).astype(np.float32)
    cells, direction = by_richdem.accumulated(ground, "d8")
    assert np.array_equal(cells, upslope.upslope_cells(direction)[0])
    assert cells[direction == 0].sum() == ground.size


def test_no_data_stays_no_data() -> None:
    ground = np.random.default_rng(6).normal(0, 1, (40, 50)).cumsum(0).astype(np.float32)
    ground[10:14, 20:25] = np.nan
    made = PROCESS({"ground": Layer(ground, "m", "g", (2.0, 2.0))}, {"engine": "richdem"})
    missing = np.isnan(ground)
    for name in ("upslope_m2", "ponding_m"):
        assert np.array_equal(np.isnan(made[name].values), missing), name
    assert (made["flow_direction"].values[missing] == 255).all()
    assert np.nanmin(made["upslope_m2"].values) == 4.0


def test_a_screening_drains_by_the_engine_that_its_settings_name() -> None:
    """The layers are richdem's own, and the criteria are judged by them."""
    ground = site(hills(48, 64, 9))
    settings = Settings(halo_m=10, azimuths=8, top=3, engine="richdem")
    frame = screen(ground, House(6, 12), settings=settings).frame
    cells, direction = by_richdem.accumulated(by_richdem.filled(frame.ground), "d8")
    assert np.array_equal(frame.layers["upslope_m2"], cells.astype(np.float32) * frame.grid.cell_m**2, equal_nan=True)
    assert np.array_equal(frame.layers["flow_direction"], direction)
    plain = screen(ground, House(6, 12), settings=settings.model_copy(update={"engine": "built-in"})).frame
    assert np.array_equal(frame.layers["ponding_m"], plain.layers["ponding_m"], equal_nan=True)
    assert not np.array_equal(frame.layers["upslope_m2"], plain.layers["upslope_m2"], equal_nan=True)
