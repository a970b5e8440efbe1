"""Layers that no process makes, as a run has them."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pyproj
import shapely

from tunnelsite.core.grid import Grid
from tunnelsite.core.site import Frame
from tunnelsite.screening.providers import given_layers
from tunnelsite.settings.model import Settings


def windows(parcels: list[Any], alone: bool = True) -> dict[str, Any]:
    """What a frame of 200 x 300 m with these parcels is told of windows."""
    wkt = pyproj.CRS.from_proj4("+proj=tmerc +lat_0=45 +lon_0=8 +datum=WGS84").to_wkt()
    grid = Grid(wkt, 1.0, 200, 300, 0.0, 200.0)
    frame = Frame(grid, 0.0, {}, {}, np.array(parcels, object), [str(k) for k in range(len(parcels))], 8.0, 45.0)
    site: Any = SimpleNamespace(parcels_alone=alone)
    return given_layers({"windows"}, site, frame, Settings(house=["6x15m"]))


def test_each_parcel_on_the_grid_has_a_window_of_the_land_round_it() -> None:
    inside, corner = shapely.box(100, 50, 150, 90), shapely.box(-20, 180, 10, 230)
    beyond = shapely.box(3000, 50, 3100, 90)  # off the elevation model, in the task of the others
    found = windows([inside, beyond, corner])["windows"].values
    assert len(found) == 2
    top, bottom, left, right = found[0]
    assert 70 < top <= 100 and 160 <= bottom < 190 and 60 < left <= 90 and 160 <= right < 190
    assert found[1][0] == 0 and found[1][2] == 0 and found[1][1] >= 20


def test_without_a_parcel_on_the_grid_or_for_all_the_land_nothing_is_told() -> None:
    assert windows([shapely.box(3000, 50, 3100, 90)]) == {}
    assert windows([shapely.box(100, 50, 150, 90)], alone=False) == {}
