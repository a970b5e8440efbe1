"""What the elevation data cannot tell is noted: parcels beyond the model, voids around them."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import shapely

from tests.whole_run.files import NORTH, UTM17, WEST, gentle, plain_farm, write_parcels
from tunnelsite import read_site
from tunnelsite.core.site import Frame
from tunnelsite.io.read.raster_reading import RasterReading
from tunnelsite.scan.data_checks import check_data
from tunnelsite.scan.localise import frame_grid, localised


def _checked(folder: Path, east_m: float, void: float = 0.0) -> Frame:
    """A farm whose parcel ends `east_m` from the model's west edge; void, share of the rows that are missing."""
    heights = gentle()
    if void:
        heights[: round(void * len(heights))] = np.nan
    dem, _ = plain_farm(folder, heights)
    shape = shapely.box(WEST + 10, NORTH - 60, WEST + east_m, NORTH - 50)
    parcels = write_parcels(folder / "long.gpkg", [shape], UTM17)
    site = read_site(str(dem), str(parcels), reading=RasterReading(halo_m=5.0))
    frame = localised(site, frame_grid(site, bearing_deg=90.0, cell_m=None, halo_m=5.0))
    check_data(site, frame, 5.0)
    return frame


def test_a_parcel_beyond_the_model_is_named_with_its_share(tmp_path: Path) -> None:
    found = [note for note in _checked(tmp_path, 130.0).notes if "lies beyond" in note]
    assert len(found) == 1 and re.match(r"2[3-6]% of p0 lies beyond dem.tif", found[0])


def test_a_parcel_within_the_model_is_not(tmp_path: Path) -> None:
    assert not [note for note in _checked(tmp_path, 80.0).notes if "beyond" in note]


def test_voids_round_the_parcels_are_noted_with_their_share(tmp_path: Path) -> None:
    found = [note for note in _checked(tmp_path, 80.0, 0.35).notes if "holds no heights" in note]
    assert len(found) == 1 and 5 <= int(found[0].partition("%")[0]) <= 60


def test_many_heights_of_exactly_0_near_other_low_ones_are_the_first_caution(tmp_path: Path) -> None:
    """Models of polders come with water and buildings cut out and filled with 0, which reads as level ground."""
    low = gentle() - gentle().min() - np.float32(0.7)
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    few, many = low.copy(), low.copy()
    few[0, :3], many[: len(many) // 5] = 0.0, 0.0
    for name, heights, doubted in (("a", few, False), ("b", many, True)):
        dem, parcels = plain_farm(tmp_path / name, heights)
        site = read_site(str(dem), str(parcels))
        frame = localised(site, frame_grid(site, bearing_deg=90.0, cell_m=None, halo_m=5.0))
        check_data(site, frame, 5.0)
        assert [text[:4] for text in frame.doubts if "--zero-is-nodata" in text] == ["20 %"] * doubted
