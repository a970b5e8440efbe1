"""A second DEM that carries the far horizon: the whole run against closed form, and files that do not serve."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pyproj
import pytest
from rasterio.transform import Affine

from tests.kernels.reference import profile_share
from tests.scan.grounds import raster, site
from tests.whole_run.files import UTM17, plain_farm, write_dem
from tunnelsite import House, screen
from tunnelsite.core.errors import InputRefused
from tunnelsite.core.units import FOOT_M
from tunnelsite.kernels.light.horizon import earth_drop_per_m
from tunnelsite.kernels.light.horizon_share import sector_tables
from tunnelsite.scan.far_ground import far_ground
from tunnelsite.scan.localise import frame_grid, localised
from tunnelsite.settings.model import settings_from
from tunnelsite.sun.irradiance import clear_sky_steps
from tunnelsite.sun.position import Observer
from tunnelsite.sun.season import season_sun

HOUSE = House(6, 15, kind="container")
EAST, NORTH = 499_900.0, 4_700_100.0  # corner of the near DEM
HEIGHT, AWAY, CELL = 2000.0, 5000.0, 60.0
WINTER = ((12, 1), (1, 10))


def far_with_ridge(ground: float = 100.0, shift: float = 0.0, drop_columns: int = 0):
    """24 km square at `ground`, an endless ridge whose crest begins 5 km south of the middle of the farm."""
    count = 400
    heights = np.full((count, count), ground)
    west, north = EAST + 60 - 12_000.0, NORTH - 50 + 12_000.0
    row = int((12_000 + AWAY) // CELL)
    heights[row : row + 10] = ground + HEIGHT
    away = (row + 0.5) * CELL - 12_000
    return raster(heights[:, drop_columns:] + shift, west + drop_columns * CELL, north, CELL), away


def settings(**more):
    return settings_from(
        {"halo": "20m", "crop_months": "12-01:01-10", "kind": "container", "far_reach": "12km", "azimuths": 180} | more
    )


def ridge_tangent(azimuth: np.ndarray, away: float) -> np.ndarray:
    """Closed form: tan h = (crest - eye) cos a / d - drop d / cos a."""
    off = np.radians(azimuth - 180.0)
    distance = away / np.maximum(np.cos(off), 1e-3)
    ends = np.abs(np.tan(off)) * away < 11_800  # the ridge is not quite endless
    return np.where((np.cos(off) > 0) & ends, (HEIGHT - 1.0) / distance - earth_drop_per_m() * distance, 0.0)


def expected_shares(frame, away: float) -> tuple[float, float]:
    """Share of the beam with that ridge: by one look for every sun step, and folded over 180 directions."""
    sun = season_sun(clear_sky_steps(Observer(frame.lat_deg, frame.lon_deg, frame.datum_m)), WINTER)
    clear = np.tan(np.radians(sun[:, 1])) > ridge_tangent(sun[:, 0], away)
    azimuths = np.arange(180) * 2.0
    tables = sector_tables(sun[:, 0], sun[:, 1], sun[:, 2], azimuths)
    folded = profile_share(np.degrees(np.arctan(np.maximum(ridge_tangent(azimuths, away), 0))), tables)[0]
    return float(sun[clear, 2].sum() / sun[:, 2].sum()), float(folded)


@pytest.mark.parametrize("shift", [0.0, 33.0])  # 33 m: heights above the ellipsoid beside heights above the sea
def test_a_ridge_that_only_the_far_dem_holds(shift: float) -> None:
    far, away = far_with_ridge(shift=shift)
    near = site(np.full((100, 120), 100.0), far_dem=far)
    result = screen(near, HOUSE, settings=settings())
    share = result.frame.layers["beam_share"]
    middle = share[45:55, 50:70].astype(float)  # kept in half precision: compared as what it stands for
    # a step between two cells is smeared by bilinear warping: the full height begins up to a cell farther off, never nearer
    (steps, low), (_, high) = (expected_shares(result.frame, away + off) for off in (0.0, CELL))
    assert 0.4 < low < high < 0.9 and high - low < 0.04
    assert low - 0.002 < middle.min() and middle.max() < high + 0.002
    assert middle.mean() == pytest.approx(steps, abs=0.02)
    notes = " ".join(result.frame.notes)
    assert "far horizon from DEM in cells of 60 m" in notes and "south 12." in notes
    assert ("33.0 m above" in notes) == (shift > 0)
    if not shift:
        without = screen(replace(near, far_dem=None), HOUSE, settings=settings(azimuths=8))
        assert float(np.nanmin(without.frame.layers["beam_share"])) > 0.9999


def test_level_far_land_changes_nothing_but_for_the_last_bit() -> None:
    from tests.scan.grounds import hills

    ground = hills(90, 110, 7, rise=3.0)
    flat = raster(np.full((300, 300), float(np.median(ground))), EAST - 4400, NORTH + 4400, 30.0)
    near = site(ground)
    one, two = (screen(item, HOUSE, settings=settings(azimuths=36)) for item in (near, replace(near, far_dem=flat)))
    assert (
        np.nanmax(np.abs(one.frame.layers["beam_share"] - two.frame.layers["beam_share"])) < 0.02
    )  # level land hides 0.3 deg from a hollow
    for name in ("pitch", "earthwork", "roughness"):
        assert np.array_equal(one.scans[0].measures[name], two.scans[0].measures[name])


def test_with_a_turned_ridge_the_share_is_the_same() -> None:
    far, _ = far_with_ridge()
    near = site(np.full((100, 120), 100.0), far_dem=far)
    shares = []
    for bearing in (90, 60):
        result = screen(near, HOUSE, settings=settings(bearing=bearing, azimuths=90))
        share = result.frame.layers["beam_share"]
        shares.append(share[share.shape[0] // 2, share.shape[1] // 2])
    assert shares[0] == pytest.approx(shares[1], abs=0.005)


def frame_of(near):
    return localised(near, frame_grid(near, bearing_deg=90.0, cell_m=None, halo_m=20.0))


def test_what_does_not_serve_is_refused_or_said() -> None:
    near = site(np.full((100, 120), 100.0))
    frame = frame_of(near)
    inner = raster(np.full((4, 4), 100.0), EAST + 10, NORTH - 10, 20.0)
    with pytest.raises(InputRefused, match="does not reach beyond"):
        far_ground(inner, frame, 5000.0)
    aside = raster(np.full((50, 50), 100.0), EAST + 3000, NORTH, 30.0)
    with pytest.raises(InputRefused, match="has no height where the DEM has some"):
        far_ground(aside, frame, 5000.0)
    feet, _ = far_with_ridge(shift=228.0)
    with pytest.raises(InputRefused, match="as feet are to metres"):
        far_ground(feet, frame, 5000.0)
    elsewhere, _ = far_with_ridge(shift=170.0)
    with pytest.raises(InputRefused, match="lies 170 m above the DEM in the median"):
        far_ground(elsewhere, frame, 5000.0)
    void, _ = far_with_ridge()
    with pytest.raises(InputRefused, match="has no height where"):
        far_ground(replace(void, values=np.full_like(void.values, np.nan)), frame, 5000.0)
    half, _ = far_with_ridge(
        drop_columns=200
    )  # begins amid the farm, 10 m clear of where a height would hang on the last bit
    half = replace(half, affine=(*half.affine[:2], half.affine[2] - 10.0, *half.affine[3:]))
    found = far_ground(half, frame, 12_000.0)
    assert any("no data on" in note for note in found.notes)
    assert "west not at all" in found.notes[0] or "west 0" in found.notes[0]
    assert "east 11" in found.notes[0] or "east 12" in found.notes[0]


def test_a_cell_lies_on_the_point_asked_for() -> None:
    frame = frame_of(site(np.full((100, 120), 100.0)))
    far, _ = far_with_ridge()
    grid = far_ground(far, frame, 3000.0, centre_m=(12.3, -7.7)).grid
    off = [(12.3 - grid.west_m) / grid.cell_m - 0.5, (grid.north_m + 7.7) / grid.cell_m - 0.5]
    assert np.abs(off - np.round(off)).max() < 1e-9


def test_from_files(tmp_path: Path) -> None:
    from tunnelsite.io.read.site import site_from

    dem, parcels = plain_farm(tmp_path)
    heights = np.full((200, 200), 200.0, np.float32)
    heights[160:165] = 1500.0
    far = write_dem(tmp_path / "far.tif", heights, Affine(50, 0, 695_000, 0, -50, 4_705_000), UTM17)
    given = {
        "dem": str(dem),
        "parcels": str(parcels),
        "far_dem": str(far),
        "halo": "20m",
        "kind": "container",
        "house": "6x15m",
    }
    read = site_from(settings_from(given))
    assert read.far_dem.name == "far.tif" and any(item is read.far_dem for item in read.inputs)
    result = screen(read, settings=settings_from(given | {"crop_months": "12-01:12-31"}))
    assert np.nanmax(result.frame.layers["beam_share"]) < 0.99
    assert any(row["name"] == "far.tif" for row in result.tables["run"].rows)
    with pytest.raises(InputRefused, match="far2"):
        site_from(settings_from(given | {"far_dem": str(tmp_path / "far2.tif")}))


def test_a_far_dem_in_feet_has_a_unit_of_its_own(tmp_path: Path) -> None:
    """On a map in feet its unit is asked for; stated in any system, the heights come out in metres and the DEM's stay as they were."""
    from tunnelsite.io.read.site import site_from

    dem, parcels = plain_farm(tmp_path)
    heights = np.full((200, 200), 200.0 / FOOT_M, np.float32)
    far = write_dem(tmp_path / "far.tif", heights, Affine(50, 0, 695_000, 0, -50, 4_705_000), UTM17)
    given = {"dem": str(dem), "parcels": str(parcels), "far_dem": str(far), "halo": "20m", "far_elevation_unit": "ft"}
    read = site_from(settings_from(given))
    assert read.far_dem.unit == "ft" and read.dem.unit == "m"
    np.testing.assert_allclose(read.far_dem.values + read.far_dem.datum_m, 200.0, atol=1e-3)
    west, north = pyproj.Transformer.from_crs(UTM17, 2958, always_xy=True).transform(695_000, 4_705_000)
    feet = pyproj.CRS.from_proj4("+proj=utm +zone=17 +datum=NAD83 +units=us-ft +no_defs").to_wkt()
    far = write_dem(tmp_path / "f.tif", heights, Affine(164, 0, west / 0.3048006, 0, -164, north / 0.3048006), feet)
    with pytest.raises(InputRefused, match=r"--far-elevation-unit us-ft"):
        site_from(settings_from({**given, "far_dem": str(far), "far_elevation_unit": None}))
    assert (
        site_from(settings_from({**given, "far_dem": str(far), "far_elevation_unit": "us-ft"})).far_dem.unit == "us-ft"
    )


@pytest.mark.parametrize(("times", "option"), [(1 / FOOT_M, "--far-elevation-unit"), (FOOT_M, "--elevation-unit")])
def test_feet_are_told_from_metres_where_they_differ_by_little(times: float, option: str) -> None:
    """20 m of height are 66 ft: within what two models may differ by, and yet another unit."""
    land = site(np.full((100, 120), 20.0 if times > 1 else 66.0))
    frame = localised(land, frame_grid(land, bearing_deg=90, cell_m=None, halo_m=20))
    far, _ = far_with_ridge(ground=20.0 if times > 1 else 66.0)
    other = replace(far, values=((far.values + far.datum_m) * times - far.datum_m).astype(np.float32))
    with pytest.raises(InputRefused, match=f"as feet are to metres.* {option} ft or us-ft"):
        far_ground(other, frame, 5000.0)
    assert far_ground(far, frame, 5000.0).notes
    assert far_ground(replace(other, notes=("heights taken as m, as stated",)), frame, 5000.0).notes


def test_how_far_land_is_known_is_told_by_direction() -> None:
    """Known from 3 km west to 1 km east of the farm and 2 km to the north; nothing to the south."""
    from tunnelsite.core.grid import Grid
    from tunnelsite.scan.far_ground import _reach_words

    near = Grid("", 1.0, 100, 100, -50.0, 50.0, 90.0)
    wide = Grid("", 200.0, 40, 40, -4000.0, 4000.0, 90.0)
    known = np.full((40, 40), np.nan)
    known[10:20, 5:25] = 1.0
    assert _reach_words(near, wide, known) == "reaching north 1.9 km, east 0.9 km, south not at all, west 2.9 km"
