"""Outlines of what is drawn, as edges over the ground, and what a reader learns of crowns that pass light."""

from __future__ import annotations

import numpy as np
import pyproj
import pytest
import shapely

from tests.scan.grounds import features
from tunnelsite.core.crowns import CrownKinds, Crowns
from tunnelsite.core.grid import covering_grid, local_crs
from tunnelsite.core.site import Frame
from tunnelsite.scan.surface import add_surface, crown_notes, outline_edges


@pytest.mark.parametrize(("of", "words"), [([0, 1, 0, 2], "2 obstacles pass"), ([1], "1 obstacle passes")])
def test_crowns_that_pass_light_are_counted(of: list[int], words: str) -> None:
    crowns = CrownKinds((Crowns(0.0, 0.58), Crowns(0.2, 0.7)), np.array(of), ("one was taken for a denser one",))
    note, last = crown_notes(crowns, modelled=False)
    assert note.startswith(f"{words} a part of the beam (0 in leaf and 0.58 bare, 0.2 in leaf and 0.7 bare)")
    assert last == "one was taken for a denser one"
    assert len(crown_notes(crowns, modelled=True)) == 3


@pytest.mark.parametrize("cell_m", [1.0, 2.0])
def test_edges_of_outlines_follow_the_ground_under_them(cell_m: float) -> None:
    crs = local_crs(pyproj.CRS("EPSG:4326"), -78.0, 43.0)
    grid = covering_grid(crs, (-60.0, -30.0, 70.0, 50.0), cell_m, 90.0)
    along, across = grid.centre(*np.mgrid[0 : grid.rows, 0 : grid.cols])
    ground = (0.02 * along - 0.05 * across).astype(np.float32)
    barn = shapely.box(10.3, -12.2, 31.7, 4.9)
    drawn = features([barn], grid.crs, "barns", height_m=[6.0])
    frame = Frame(grid, 0.0, {"ground": ground}, {"ground": "m"}, np.empty(0, object), [], -78.0, 43.0, obstacles=drawn)
    add_surface(frame)
    edges = outline_edges(frame)
    ends = [
        (grid.west_m + (edges[:, 1 + k] + 0.5) * cell_m, grid.north_m - (edges[:, k] + 0.5) * cell_m) for k in (0, 2)
    ]
    lines = shapely.linestrings(np.stack([np.column_stack(end) for end in ends], axis=1))
    assert shapely.hausdorff_distance(shapely.union_all(lines), barn.exterior) < 1e-6
    assert shapely.length(lines).sum() == pytest.approx(barn.length)
    for (u, v), top in zip(ends, (edges[:, 4], edges[:, 5]), strict=True):
        assert top == pytest.approx(0.02 * u - 0.05 * v + 6.0, abs=1e-4)
    assert not edges[:, 6].any()  # solid all year
