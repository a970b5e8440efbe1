"""Layers and sheets of a grading plan, in the user's own units."""

from __future__ import annotations

from dataclasses import replace

import pyproj
import pytest

from tests.plans.places import place, tilted
from tunnelsite.core.grid import local_crs
from tunnelsite.plans.grading.grade import _sheet
from tunnelsite.plans.grading.layers import lines_table, station_columns, station_rows, stations_table
from tunnelsite.plans.grading.plan import grading_plan
from tunnelsite.plans.stakeout.stations import stations

UTM = pyproj.CRS("EPSG:32617")


def planned(*, feet: bool, slope: float):
    where = place(feet=feet)
    where = replace(where, grid=replace(where.grid, crs_wkt=local_crs(UTM, -81.0, 43.0).to_wkt()))
    return grading_plan(tilted(where, slope, 0.003), where)


@pytest.mark.parametrize("feet", [True, False])
def test_a_contour_is_named_in_the_unit_in_which_it_is_round(feet: bool) -> None:
    """A contour every half foot had the name `195.68 m`, where it is 642 ft."""
    table = lines_table(planned(feet=feet, slope=0.03), None, 0.1524 if feet else 0.25, UTM)
    levels = [row for row in table.rows if str(row["kind"]).startswith("contour")]
    assert levels
    for row in levels:
        number, unit = str(row["label"]).split()
        assert unit == ("ft" if feet else "m")
        assert float(number) % (0.5 if feet else 0.25) == 0
        assert float(number) * (0.3048 if feet else 1.0) == pytest.approx(row["level_m"], abs=1e-9)


@pytest.mark.parametrize("feet", [True, False])
def test_a_sheet_without_stakes_has_the_columns_of_one_with_stakes(feet: bool) -> None:
    """Where nothing is staked the file held the one word `label`."""
    plan = planned(feet=feet, slope=0.04)
    found = stations(plan, None)
    rows = station_rows(plan, found, stations_table(plan, found, UTM))
    assert rows and tuple(rows[0]) == station_columns(feet=feet)
    assert tuple(_sheet([], station_columns(feet=feet)).columns) == tuple(_sheet(rows).columns)
