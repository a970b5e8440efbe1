"""What became of every placement: the same counts as the scan's own books, and the same outcome as placement by placement."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from rasterio.transform import Affine

from tests.whole_run.files import NORTH, UTM17, WEST, gentle, write_dem, write_parcels
from tunnelsite import read_site, screen
from tunnelsite.decisions.explain import explain_everywhere
from tunnelsite.scan.outcomes import OUTSIDE, PASSED, SOME_LIMIT, outcomes
from tunnelsite.screening.kept_run import keep_run, kept_run
from tunnelsite.settings.model import settings_from


@pytest.fixture(scope="module", params=[90.0, 60.0])
def result(request, tmp_path_factory):
    """Two parcels that overlap, one of them with a hole; a keep-out, a building, bumps, a gap in the heights."""
    folder = tmp_path_factory.mktemp("outcomes")
    heights = gentle(90, 120)
    heights[55:75, 30:60] += np.random.default_rng(2).normal(0, 0.3, (20, 30)).astype(np.float32)
    heights[20:24, 50:54] = np.nan
    dem = write_dem(folder / "dem.tif", heights, Affine(1, 0, WEST, 0, -1, NORTH), UTM17, nodata=np.nan)
    whole = shapely.box(WEST + 4, NORTH - 80, WEST + 70, NORTH - 4)
    shapes = [
        shapely.difference(whole, shapely.box(WEST + 10, NORTH - 20, WEST + 16, NORTH - 14)),
        shapely.box(WEST + 55, NORTH - 84, WEST + 115, NORTH - 6),
    ]
    parcels = write_parcels(folder / "parcels.gpkg", shapes, UTM17)
    wet = write_parcels(folder / "wet.gpkg", [shapely.Point(WEST + 90, NORTH - 30).buffer(8)], UTM17, name=["w"])
    barn = write_parcels(
        folder / "barn.gpkg", [shapely.box(WEST + 95, NORTH - 70, WEST + 105, NORTH - 62)], UTM17, name=["b"]
    )
    tree = write_parcels(folder / "trees.gpkg", [shapely.Point(WEST + 30, NORTH - 45)], UTM17, height_m=[8.0])
    site = read_site(str(dem), str(parcels), keep_out=[f"{wet}@2m"], structures=str(barn), obstacles=str(tree))
    wanted = {"house": ["6x15m"], "azimuths": 8, "setback": "2m", "bearing": request.param, "top": 3}
    return screen(site, settings=settings_from(wanted))


def found_of(result):
    settings = result.settings
    return outcomes(result.scans[0], result.judges, (settings.setback_m, settings.clearance_m), settings.pad_pitch)


def test_counts_are_those_of_the_books(result) -> None:
    scan, found = result.scans[0], found_of(result)
    assert np.count_nonzero(found.code != OUTSIDE) == scan.ground.inside.sum()
    assert np.array_equal(np.flatnonzero(found.code == PASSED), scan.index)
    for rule, counts in scan.ground.rejected.items():
        assert found.count(rule) == counts.sum()
    for rule, tallies in scan.tallies.items():
        rejected = sum(tally.rejected for tally in tallies)
        assert (found.count(rule) if rule in found.rules else 0) == rejected
    some = {rule for rule in found.rules if found.count(rule)}
    assert {"boundary", "keep_out:wet.gpkg", "structures", "no_data", "deepest_cut"} <= some


def test_each_fate_is_what_explaining_that_place_says(result) -> None:
    """`decisions.explain` tests one place with true distances: another path to the first rule that a placement breaks."""
    found, grid = found_of(result), result.frame.grid
    numbers = np.random.default_rng(3)
    for code in np.unique(found.code[found.code != OUTSIDE]):
        cells = np.argwhere(found.code == code)
        for row, col in cells[numbers.choice(len(cells), min(4, len(cells)), replace=False)]:
            lon, lat = grid.lonlat(*grid.centre(row, col))
            broken = [rule.rule for rule in explain_everywhere(result, float(lon), float(lat))[0].broken]
            if code == PASSED:
                assert not broken
            else:
                assert broken[0] == found.rules[code - 2]


def test_a_kept_run_knows_every_rule(result, tmp_path: Path) -> None:
    keep_run(result, tmp_path / "run.npz", overwrite=False)
    whole, kept = found_of(result), found_of(kept_run(tmp_path / "run.npz"))
    assert kept.rules == whole.rules and np.array_equal(whole.code, kept.code)


def test_without_measures_all_limits_are_one(result) -> None:
    whole, bare = found_of(result), result.scans[0]
    layers = {name: values for name, values in bare.frame.layers.items() if name == "ground"}
    bare = replace(bare, frame=replace(bare.frame, layers=layers), lost=None)
    found = found_of(replace(result, scans=[bare]))
    few = 2 + len(found.rules) - 1
    assert found.rules[-1] == SOME_LIMIT and np.array_equal(np.minimum(whole.code, few), found.code)
