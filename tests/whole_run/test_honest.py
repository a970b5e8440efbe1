"""A run says what it does not know: ends of the data, standard errors of interpolated cells, parcels never looked at."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from rasterio.transform import Affine

from tests.scan.grounds import hills, site
from tests.whole_run.files import NORTH, UTM17, WEST, gentle, plain_farm, write_dem, write_parcels
from tunnelsite import read_site, screen
from tunnelsite.core.errors import UsageError
from tunnelsite.core.house import House
from tunnelsite.decisions.explain import explain
from tunnelsite.io.read.raster_reading import RasterReading
from tunnelsite.plans.candidate import standing
from tunnelsite.report.candidate_study import studied
from tunnelsite.report.card_facts import all_facts
from tunnelsite.settings.model import settings_from

SMALL = House(5.0, 12.0)


def _notes(result) -> str:
    return "\n".join(row["value"] for row in result.tables["run"].rows if row["kind"] == "note")


def _settings(**given):
    return settings_from({"halo": "10m", "azimuths": 8, "top": 3} | given)


def test_parcels_off_the_data_are_named_and_get_the_true_reason(tmp_path) -> None:
    dem, _ = plain_farm(tmp_path)
    shapes = [shapely.box(WEST + dx + 3, NORTH - 77, WEST + dx + 97, NORTH - 3) for dx in (0, 50, 2000)]
    parcels = write_parcels(tmp_path / "p.gpkg", shapes, UTM17, parcel=["on", "partly", "off"])
    result = screen(read_site(str(dem), str(parcels)), SMALL, settings=_settings())
    rows = {row["parcel"]: row for row in result.tables["rejections"].rows if row["rule"] == "boundary"}
    assert rows["off"]["tried"] == 0 and "outside dem.tif" in rows["off"]["reason"]
    assert "lies beyond dem.tif" in _notes(result)


def test_the_end_of_the_data_inside_the_halo_is_said(tmp_path) -> None:
    dem, parcels = plain_farm(tmp_path)
    near = screen(read_site(str(dem), str(parcels)), SMALL, settings=_settings(halo="200m"))
    assert "ends 4 m from the parcels (200 m were asked for)" in _notes(near)
    assert "less sun there than is told" in _notes(near)
    inside = screen(read_site(str(dem), str(parcels)), SMALL, settings=_settings(halo="3m"))
    assert "less sun" not in _notes(inside)


def test_land_without_heights_round_the_parcels_is_said(tmp_path) -> None:
    heights = gentle()
    heights[:, :20] = -9999
    dem = write_dem(tmp_path / "d.tif", heights, Affine(1, 0, WEST, 0, -1, NORTH), UTM17, nodata=-9999)
    parcels = write_parcels(tmp_path / "p.gpkg", [shapely.box(WEST + 25, NORTH - 65, WEST + 85, NORTH - 15)], UTM17)
    result = screen(read_site(str(dem), str(parcels)), SMALL, settings=_settings(halo="14m"))
    assert "14% of the land read round the parcels holds no heights" in _notes(result)


def test_finer_cells_do_not_make_the_ground_better_known(tmp_path) -> None:
    noise = np.random.default_rng(3).normal(200, 0.03, (60, 80)).astype(np.float32)
    dem, parcels = plain_farm(tmp_path, noise)
    errors = {}
    for cell in ("1m", "0.5m", "0.25m"):
        result = screen(read_site(str(dem), str(parcels)), House(8.0, 20.0), settings=_settings(cell=cell, top=5))
        errors[cell] = np.median([row["pitch_se_pct"] for row in result.rows])
        assert ("nothing new is known" in _notes(result)) == (cell != "1m")
    # bilinear interpolation smooths the residuals by a third, so equality is not to be had; what must not come is the
    # factor 2 and 4 by which the number of cells would lower it
    for cell in ("0.5m", "0.25m"):
        assert errors[cell] > 0.6 * errors["1m"], errors


def test_a_smooth_model_of_wide_cells_has_not_seen_the_ground_of_a_house(tmp_path) -> None:
    """However small the standard error on a plane, cells wider than two thirds of the house leave its pitch unknown: no number, no
    marks, less of the weight assessed."""
    plane = (200 + 0.03 * np.arange(60)[None, :] + np.zeros((50, 1))).astype(np.float32)
    dem = write_dem(tmp_path / "dem.tif", plane, Affine(10, 0, WEST, 0, -10, NORTH), UTM17)
    parcels = write_parcels(tmp_path / "p.gpkg", [shapely.box(WEST + 200, NORTH - 300, WEST + 320, NORTH - 220)], UTM17)
    for house, seen in ((House(8.0, 20.0), False), (House(14.0, 20.0), False), (House(16.0, 20.0), True)):
        result = screen(read_site(str(dem), str(parcels)), house, settings=_settings(cell="2m", kind="container"))
        assert result.rows
        assert any("cannot show how level the ground" in text for text in result.doubts) == (not seen), (
            "the first caution"
        )
        for row in result.rows:
            assert ("not resolved" in row["flags"]) == (not seen)
            assert ("within 3/4 in per 12 ft" in row["flags"]) == seen
        told = [*result.rows, *result.tables["candidates"].rows]
        for row in told:
            for name in ("pitch_across_pct", "pitch_se_pct", "roughness_m", "cut_m3", "max_cut_m"):
                assert (row[name] is not None) == seen, name
        assert all((row["max_cut_m"] is not None) == seen for row in result.tables["pads"].rows)
        for row in result.tables["candidates"].rows:
            marks = [row[f"score_{name}"] for name in ("pitch", "roughness", "crown")]
            assert [mark is not None for mark in marks] == [seen] * 3
            assert seen or "pitch of the natural ground (not known here)" in row["not_assessed"]


def test_no_plan_and_no_chance_is_told_for_ground_that_the_model_has_not_seen(tmp_path) -> None:
    """What follows a choice says it too: the report makes no grading plan of interpolated ground, `explain` tells no chance of its
    pitch, and plans asked for all the same begin with the caution."""
    plane = (200 + 0.03 * np.arange(60)[None, :] + np.zeros((50, 1))).astype(np.float32)
    dem = write_dem(tmp_path / "dem.tif", plane, Affine(10, 0, WEST, 0, -10, NORTH), UTM17)
    parcels = write_parcels(tmp_path / "p.gpkg", [shapely.box(WEST + 200, NORTH - 300, WEST + 320, NORTH - 220)], UTM17)
    farm = read_site(str(dem), str(parcels))
    for house, seen in ((House(8.0, 20.0), False), (House(16.0, 20.0), True)):
        result = screen(farm, house, settings=_settings(cell="2m", kind="container"))
        study = studied(result, 1, None)
        assert (study.graded is not None) == seen
        assert ("too wide to show the ground" in study.missing.get("grading", "")) == (not seen)
        words = {item.id: item.words for item in all_facts(result)[0].judged}
        assert ("not assessed" in words["pitch"]) == ("not assessed" in words["earthwork"]) == (not seen)
        assert (explain(result, 1).standing.chance_pitch_within_1_192 is not None) == seen
        for frame in (None, result.frame):
            notes = standing(farm, result.option(1), frame=frame).notes
            assert sum("cannot show how level the ground" in note for note in notes) == (not seen)


def test_the_run_table_tells_the_houses_that_were_screened(tmp_path) -> None:
    dem, parcels = plain_farm(tmp_path)
    site = read_site(str(dem), str(parcels))
    result = screen(site, House.parse("20x48ft", "container"), settings=_settings())
    told = {row["name"]: row["value"] for row in result.tables["run"].rows if row["kind"] == "setting"}
    assert (told["house"], told["kind"]) == ("20x48ft", "container")
    with pytest.raises(UsageError, match="kinds container and in-ground"):
        screen(site, [House(5, 12, "container"), House(5, 12, "in-ground")], settings=_settings())
    with pytest.raises(UsageError, match="ridge heights"):
        screen(site, [House(5, 12, ridge_m=3.0), House(5, 12, ridge_m=4.0)], settings=_settings())


def test_nothing_assessed_is_not_nothing_found_without_a_word(tmp_path) -> None:
    dem, parcels = plain_farm(tmp_path)
    settings = _settings(weight=dict.fromkeys(_weighted(dem, parcels), 0.0) | {"sun": 1.0}, crop_months="12-01:12-31")
    site = read_site(str(dem), str(parcels))
    result = screen(site, SMALL, settings=settings)
    assert result.rows  # at 42 deg N there is sun in December
    for scan in result.scans:
        scan.measures["sun"] = np.full_like(scan.measures["sun"], np.nan)
    again = result.rescore()
    assert not again.rows and "none of what has a weight (sun) could be assessed" in _notes(again)
    assert "none of what has a weight" not in _notes(result)


def _weighted(dem, parcels) -> list[str]:
    from tunnelsite.screening.judges import judges_of

    site = read_site(str(dem), str(parcels))
    return [judge.id for judge in judges_of(site, _settings(), "in-ground") if judge.rubric.weight > 0]


@pytest.mark.parametrize(("bearing", "near"), [(0, 0.0), (180, 0.0), (90, 90.0), (179.99, 179.99)])
def test_a_ridge_bearing_does_not_jump_to_its_other_end(tmp_path, bearing, near) -> None:
    dem, parcels = plain_farm(tmp_path)
    result = screen(read_site(str(dem), str(parcels)), SMALL, settings=_settings(bearing=bearing))
    assert all(abs(row["bearing_deg"] - near) < 0.01 for row in result.rows)


def test_the_halo_is_metres_on_the_ground_in_web_mercator(tmp_path) -> None:
    """At 60 deg N web Mercator stretches twofold: 1/cos(latitude), EPSG guidance note 7-2 [@epsg-methods]."""
    heights = np.full((400, 400), 100.0, np.float32)
    dem = write_dem(tmp_path / "d.tif", heights, Affine(10, 0, 0, 0, -10, 8_401_000), "EPSG:3857")
    east, north = 2000.0, 8_401_000 - 2000.0
    parcels = write_parcels(
        tmp_path / "p.gpkg", [shapely.box(east - 60, north - 60, east + 60, north + 60)], "EPSG:3857"
    )
    site = read_site(str(dem), str(parcels), reading=RasterReading(halo_m=500.0))
    rows, cols = site.dem.values.shape
    # 500 m on the ground are 1000 m here: 100 cells each side, a parcel of 12 cells, 2 % and whole cells more
    assert 212 <= rows <= 220 and 212 <= cols <= 220


def test_the_shift_of_nad83_is_known(tmp_path) -> None:
    """EPSG 1188, NAD83 to WGS 84 (1), states 4 m [@epsg-methods]."""
    dem, _ = plain_farm(tmp_path)
    heights = gentle()
    dem = write_dem(tmp_path / "n.tif", heights, Affine(1, 0, WEST, 0, -1, NORTH), "EPSG:26917")
    _, parcels = plain_farm(tmp_path)
    result = screen(read_site(str(dem), str(parcels)), SMALL, settings=_settings())
    assert "the shift from the datum 'WGS 84' to 'NAD83' is known to about 4 m" in _notes(result)
    assert "longitudes and latitudes: the shift from the datum 'NAD83' to 'WGS 84' is known to about 4 m" in _notes(
        result
    )
    own = screen(read_site(*map(str, plain_farm(tmp_path))), SMALL, settings=_settings())
    assert "longitudes and latitudes" not in _notes(own)  # WGS 84 itself: nothing to say


def test_a_datum_that_nobody_can_tie_to_wgs84_is_said(tmp_path) -> None:
    """An unnamed datum on the ellipsoid of Clarke: what PROJ does with it is a guess, and is said beside longitude and latitude."""
    crs = "+proj=utm +zone=17 +ellps=clrk66 +type=crs"
    dem = write_dem(tmp_path / "n.tif", gentle(), Affine(1, 0, WEST, 0, -1, NORTH), crs)
    shapes = [shapely.box(WEST + 3, NORTH - 77, WEST + 97, NORTH - 3)]
    result = screen(
        read_site(str(dem), str(write_parcels(tmp_path / "p.gpkg", shapes, crs))), SMALL, settings=_settings()
    )
    assert result.rows and "longitudes and latitudes" in _notes(result)
    assert "not known here and taken as none" in _notes(result) or "no way from it to WGS 84" in _notes(result)


def test_a_ridge_of_feet_read_as_metres_is_doubted() -> None:
    """12 without a unit is 12 m: over a house 6 m wide that is said, while the same in feet (or a high ridge that fits) is not."""
    farm = site(hills(60, 70, 1))
    said = {}
    for ridge in ("12", "12ft", "16ft"):
        settings = settings_from({"ridge": ridge, "azimuths": 8})
        notes = screen(farm, House(6.0, 12.0, ridge_m=settings.ridge_m), settings=settings).frame.notes
        said[ridge] = any("a length without a unit is in metres" in note for note in notes)
    assert said == {"12": True, "12ft": False, "16ft": False}
