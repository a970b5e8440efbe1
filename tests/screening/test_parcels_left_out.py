"""Parcels without an option are found, by the plainest count of the placements that passed."""

from __future__ import annotations

import numpy as np
import shapely

from tests.scan.grounds import features, site
from tunnelsite import Settings, screen
from tunnelsite.core.house import House
from tunnelsite.screening.parcels_left_out import parcels_left_out

WEST, NORTH = 499_900.0, 4_700_100.0


def test_a_parcel_that_others_beat_and_one_where_nothing_passes() -> None:
    """Level, 3 % and 40 % of slope side by side; two options are wanted, and the level parcel has both. It lies
    below the others at the end of the data, as a river may."""
    row, col = np.mgrid[0:90, 0:200]
    fall = np.select([col < 70, col < 130], [0.001 * row, 0.03 * row], 0.4 * row)
    boxes = [shapely.box(WEST + west, NORTH - 85, WEST + west + 50, NORTH - 5) for west in (10, 75, 140)]
    parcels = features(boxes, name="parcels", parcel=["Level", "Slope", "Steep"])
    farm = site(100.0 + fall)
    object.__setattr__(farm, "parcels", parcels)
    result = screen(
        farm, House(6.0, 15.0), settings=Settings(halo_m=10, azimuths=8, top=2, draws=20, keep_water_like=True)
    )
    assert {row["parcel"] for row in result.rows} == {"Level"}
    slope, steep = parcels_left_out(result)
    [scan], [scored] = result.scans, result.scored
    mine = np.array([scan.frame.parcel_names[owner] == "Slope" for owner in scan.owner])
    assert (slope.parcel, slope.passed) == ("Slope", mine.sum()) and mine.any()
    assert slope.best == max(scored[mine])
    assert (steep.parcel, steep.passed, steep.best) == ("Steep", 0, None)
