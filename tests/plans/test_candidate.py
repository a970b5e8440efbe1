"""From a result, from its file or from nothing but a point to the same frame with the house in the middle of a cell."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
import pytest
from pyproj import Transformer

from tests.whole_run.files import NORTH, UTM17, WEST, plain_farm
from tunnelsite import GradingSettings, House, Placement, grade, option, read_site, screen, stake_out
from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.plans.candidate import find_candidate, standing
from tunnelsite.settings.model import settings_from

GIVEN = {
    "house": ["6x15m"],
    "azimuths": 8,
    "bearing": 60.0,
    "apron": "2m",
    "setback": "3m",
    "crop_months": "10-01:04-30",
}


@pytest.fixture(scope="module")
def screened(tmp_path_factory):
    """(Result, its file, paths of the DEM and the parcels)."""
    folder = tmp_path_factory.mktemp("candidate")
    dem, parcels = (str(path) for path in plain_farm(folder))
    result = screen(read_site(dem, parcels), settings=settings_from(GIVEN))
    return result, result.write(folder / "s.gpkg"), (dem, parcels)


def test_an_option_is_the_same_from_the_result_and_from_its_file(screened) -> None:
    result, file, _ = screened
    for rank in (1, 2):
        here, there = result.option(rank), option(file, rank)
        assert (here.title, here.parcel, here.rank) == (there.title, there.parcel, there.rank)
        assert np.allclose(
            [here.lon_deg, here.lat_deg, here.bearing_deg], [there.lon_deg, there.lat_deg, there.bearing_deg], atol=1e-9
        )
        assert (here.house.width_m, here.house.name) == (there.house.width_m, there.house.name)
        assert settings_from(dict(here.settings)) == settings_from(dict(there.settings))
        found = settings_from(dict(there.settings))
        assert (found.bearing_deg, found.apron_m, found.setback_m, found.crop_months) == (60.0, 2.0, 3.0, "10-01:04-30")


@pytest.mark.parametrize("rank", [0, 999])
def test_a_rank_that_is_not_there_is_refused(screened, rank) -> None:
    result, file, _ = screened
    with pytest.raises(UsageError, match="rank"):
        result.option(rank)
    with pytest.raises(UsageError, match="rank"):
        option(file, rank)


def test_every_way_leads_to_the_same_frame(screened) -> None:
    result, file, (dem, parcels) = screened
    by_file = find_candidate({"dem": dem, "parcels": parcels}, str(file), 1)
    own = standing(result.site, result.option(1))
    shared = standing(result.site, result.option(1), frame=result.frame)
    assert shared.frame is result.frame and own.frame is not result.frame
    for found in (own, shared):
        assert found.place == by_file.place and found.parcel.equals(by_file.parcel)
        assert np.array_equal(found.ground, by_file.ground, equal_nan=True)
        assert found.judged[found.place.row, found.place.col] == by_file.judged[found.place.row, found.place.col]
    assert by_file.notes == own.notes and by_file.screened is not None and own.screened is None


def test_any_place_stands_in_the_middle_of_a_cell(screened) -> None:
    result, _, _ = screened
    chosen = result.option(1)
    place = Placement(chosen.lon_deg + 3.1e-6, chosen.lat_deg, 75.0, House.parse("4x10m"))
    found = standing(result.site, place, frame=result.frame)
    assert found.frame.grid.bearing_deg == 75.0 and found.rank is None
    lon, lat = found.place.grid.lonlat(*found.place.centre)
    assert abs(lon - place.lon_deg) < 1e-9 and abs(lat - place.lat_deg) < 1e-9
    assert not any("parcel of" in note or "centre lies" in note for note in found.notes) and not found.parcel.is_empty
    turned = Placement(chosen.lon_deg, chosen.lat_deg, 75.0, chosen.house)
    assert standing(result.site, turned, frame=result.frame).frame.grid.bearing_deg == 75.0


def test_a_place_beside_the_parcels_and_one_off_the_data(screened) -> None:
    result, _, _ = screened
    lon, lat = Transformer.from_crs(UTM17, "EPSG:4326", always_xy=True).transform(WEST + 1.5, NORTH - 40)
    beside = standing(result.site, Placement(lon, lat, 90.0, House.parse("4x10m")))
    assert beside.parcel.is_empty and "the owner of that land is not known" in "".join(beside.notes)
    with pytest.raises(InputRefused, match="a place on the DEM"):
        standing(result.site, Placement(lon + 0.1, lat, 90.0, House.parse("4x10m")))


def test_the_files_a_plan_read_beside_the_site_stand_in_its_run_table(screened) -> None:
    result, file, _ = screened
    digest = f"sha256 {hashlib.sha256(file.read_bytes()).hexdigest()}"
    asked = GradingSettings(draws=20)
    for make in (lambda place: grade(result.site, place, asked), lambda place: stake_out(result.site, place)):
        of_file, of_result = (make(place).tables["run"] for place in (option(file, 1), result.option(1)))
        assert of_file.loc[of_file["name"] == file.name, "value"].tolist() == [digest]
        assert file.name not in set(of_result["name"])


def test_settings_given_anew_are_said(screened, tmp_path: Path) -> None:
    _, file, (dem, parcels) = screened
    found = find_candidate({"dem": dem, "parcels": parcels, "apron": "1m"}, str(file), 1)
    assert found.settings.apron_m == 1.0 and any(
        note.startswith("apron is 1.0 here, 2.0 in the screening") for note in found.notes
    )
