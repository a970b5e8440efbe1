"""Whole screenings of grounds whose answer is known in closed form."""

from __future__ import annotations

import numpy as np
import pyproj
import pytest
import shapely

from tests.scan.grounds import features, raster, site
from tunnelsite import screen
from tunnelsite.core.house import House
from tunnelsite.core.layers import SourceRaster
from tunnelsite.core.site import Site
from tunnelsite.core.units import FOOT_M
from tunnelsite.settings.model import settings_from

HOUSE = House.parse("30x96ft", kind="container")
UTM_SCALE = 0.9996  # on the central meridian of a UTM zone


def settings(**more):
    return settings_from({"halo": "50m", "crop_months": "10-01:04-30", "kind": "container", "top": 5} | more)


def test_level_plane() -> None:
    result = screen(site(np.full((90, 110), 250.0)), HOUSE, settings=settings())
    row = result.rows[0]
    assert row["pitch_along_pct"] == pytest.approx(0, abs=1e-4)
    assert row["pitch_across_pct"] == pytest.approx(0, abs=1e-4)
    assert row["cut_m3"] == pytest.approx(0, abs=1e-3)
    assert row["relief_m"] == pytest.approx(0, abs=1e-5)
    assert row["ground_m"] == pytest.approx(250.0, abs=1e-5)
    assert row["beam_share"] == pytest.approx(1.0, abs=1e-6)
    assert row["score_pitch"] == pytest.approx(1.0, abs=1e-6)
    # everything is equal, so the first placement from the north-west wins and stays first (values-07)
    again = screen(site(np.full((90, 110), 250.0)), HOUSE, settings=settings())
    assert [r["lon"] for r in again.rows] == [r["lon"] for r in result.rows]


@pytest.mark.parametrize("fall", [0.02, 0.035])
@pytest.mark.parametrize("cell", [1.0, 0.5])
def test_plane_tilted_along_the_ridge(fall: float, cell: float) -> None:
    """Cut = fill = (s - 1/192) L^2 W / 8 for a fall s along a pad L long and W wide (closed form, derived)."""
    rows, cols = round(70 / cell), round(100 / cell)
    ground = 100 + fall * cell * np.mgrid[0:rows, 0:cols][1]
    result = screen(site(ground, cell=cell), HOUSE, settings=settings(apron="0m"))
    row = result.rows[0]
    true_fall = fall * UTM_SCALE
    assert row["pitch_along_pct"] == pytest.approx(100 * true_fall, rel=1e-4)
    assert abs(row["pitch_across_pct"]) < 0.01
    volume = (true_fall - 1 / 192) * HOUSE.length_m**2 * HOUSE.width_m / 8
    assert row["cut_m3"] == pytest.approx(volume, rel=0.004 * cell)
    assert row["fill_m3"] == pytest.approx(row["cut_m3"], rel=1e-4)
    assert row["pad_m2"] == pytest.approx(HOUSE.length_m * HOUSE.width_m)
    # no smoothness tells how lines of flight lie to one another: 100 sqrt(2) sd / range of [@usgs-swaths], a little less over a length
    assert 0.14 < row["pitch_se_pct"] < 100 * 0.08 / 50


@pytest.mark.parametrize(("sd", "unsure"), [(0.05, True), (0.02, False)])
def test_the_less_sure_slope_makes_a_pitch_uncertain_too(sd: float, unsure: bool) -> None:
    """By c K c' of the plane's weights, worked out once with dense matrices: errors alike over 5 m leave this house 4.5 x sd along and 9.8 x sd across [%, m]. The slope is
    steeper along, so `pitch_se_pct` is that one's; half the tolerance is 0.26 %."""
    r, c = np.mgrid[0:70, 0:100]
    result = screen(
        site(100 + 0.03 * c + 0.01 * r),
        HOUSE,
        settings=settings(elevation_error=f"{sd}m", error_range="5m", apron="0m"),
    )
    row = result.rows[0]
    assert row["pitch_se_pct"] == pytest.approx(4.516 * sd, rel=1e-3) and row["pitch_se_pct"] < 100 / 192 / 2
    assert ("pitch uncertain" in row["flags"]) is unsure


def test_a_distance_that_nobody_stated_is_not_told_as_stated() -> None:
    ground = 100 + 0.02 * np.mgrid[0:60, 0:80][1]
    for words, told in (({}, "the distance assumed"), ({"error_range": "5m"}, "(as stated)")):
        result = screen(site(ground), House(5.0, 12.0), settings=settings(elevation_error="0.05m", top=1, **words))
        assert [told in row["value"] for row in result.tables["run"].rows if row["name"] == "pitch"] == [True]


def test_a_plane_in_both_directions_comes_through_the_warp() -> None:
    """A plane on a grid 1.9 deg off true north keeps its true slopes: along = s sin(azimuth), across = s cos(azimuth)."""
    utm = pyproj.CRS(32617)
    east, north = pyproj.Transformer.from_crs(4326, utm, always_xy=True).transform(-78.2, 43.0)
    r, c = np.mgrid[0:160, 0:160]
    slope_east, slope_north = 0.012, -0.017  # per UTM metre, in grid directions
    ground = 300 + slope_east * (c + 0.5) + slope_north * (159.5 - r)
    place = (east - 80, north + 80)
    dem = raster(ground, *place, crs=utm)
    parcel = shapely.box(east - 60, north - 60, east + 60, north + 60)
    result = screen(Site(dem, features([parcel], utm)), HOUSE, settings=settings(halo="10m"))
    factors = pyproj.Proj(utm).get_factors(-78.2, 43.0)
    turn, scale = np.radians(factors.meridian_convergence), factors.meridional_scale
    # grid north lies `turn` clockwise of true north where the convergence is positive
    along = scale * (slope_east * np.cos(turn) + slope_north * np.sin(turn))
    across = scale * (-slope_east * np.sin(turn) + slope_north * np.cos(turn))
    for row in result.rows:
        assert row["pitch_along_pct"] == pytest.approx(100 * along, abs=0.002)
        assert row["pitch_across_pct"] == pytest.approx(100 * across, abs=0.002)
        assert row["roughness_m"] < 2e-4


def test_terrace_aligned_to_true_east_at_60_north_near_a_zone_edge() -> None:
    """A bench 36 x 14 m, turned to true east-west, on a UTM grid whose east is 2.4 deg off; pyproj.Geod is the judge."""
    utm, lon, lat = pyproj.CRS(32633), 17.8, 60.0
    transform = pyproj.Transformer.from_crs(4326, utm, always_xy=True)
    east, north = transform.transform(lon, lat)
    assert abs(pyproj.Proj(utm).get_factors(lon, lat).meridian_convergence) > 2.3
    local = pyproj.CRS.from_proj4(f"+proj=tmerc +lat_0={lat} +lon_0={lon} +datum=WGS84")
    r, c = np.mgrid[0:180, 0:180]
    e, n = east - 90 + c + 0.5, north + 90 - r - 0.5
    u, v = pyproj.Transformer.from_crs(utm, local, always_xy=True).transform(e, n)
    slope = 80 + 0.08 * v
    bench = (np.abs(u) < 18) & (np.abs(v) < 7)
    ground = np.where(bench, 80.0, slope)
    parcel = shapely.box(east - 85, north - 85, east + 85, north + 85)
    result = screen(
        Site(raster(ground, east - 90, north + 90, crs=utm), features([parcel], utm)),
        House(8.0, 26.0, kind="container"),
        settings=settings(halo="10m", apron="0.5m"),
    )
    best = result.rows[0]
    shape = result.tables["candidates"].geometry[0]
    corners = shapely.get_coordinates(shape)[:4]
    lons, lats = pyproj.Transformer.from_crs(utm, 4326, always_xy=True).transform(corners[:, 0], corners[:, 1])
    geod = pyproj.Geod(ellps="WGS84")
    sides = [geod.inv(lons[k], lats[k], lons[(k + 1) % 4], lats[(k + 1) % 4]) for k in range(4)]
    long_sides = [azimuth % 180 for azimuth, _, length in sides if length > 20]
    assert len(long_sides) == 2
    assert all(azimuth == pytest.approx(90.0, abs=0.1) for azimuth in long_sides)
    assert best["bearing_deg"] == pytest.approx(90.0, abs=0.01)
    assert geod.inv(best["lon"], best["lat"], lon, lat)[2] < 4.0  # metres from the bench's middle
    assert abs(best["pitch_along_pct"]) < 0.2 and abs(best["pitch_across_pct"]) < 0.2
    assert best["max_cut_m"] < 0.05


def test_a_map_in_feet_is_a_map_in_metres() -> None:
    """The same hills on a map in international feet (EPSG:2994) and on the same map in metres give the same candidates."""
    from tests.scan.grounds import hills

    heights = hills(120, 140, 8)
    feet, metres = pyproj.CRS(2994), pyproj.CRS.from_proj4(pyproj.CRS(2994).to_proj4().replace("+units=ft", "+units=m"))
    west, north = 640_000.0, 850_000.0
    cell_ft = 3.0
    rows, cols = heights.shape
    parcel = shapely.box(west + 20, north - (rows - 8) * cell_ft, west + (cols - 8) * cell_ft, north - 20)
    in_feet = Site(raster(heights, west, north, cell_ft, feet), features([parcel], feet))
    to_m = FOOT_M
    small = shapely.transform(parcel, lambda points: points * to_m)
    in_metres = Site(raster(heights, west * to_m, north * to_m, cell_ft * to_m, metres), features([small], metres))
    house = House.parse("20x48ft", kind="container")
    one, two = (screen(item, house, settings=settings(halo="20m")) for item in (in_feet, in_metres))
    assert len(one.rows) == len(two.rows) > 0
    for a, b in zip(one.rows, two.rows, strict=True):
        for name in ("score", "pitch_along_pct", "cut_m3", "lon", "lat", "upslope_m2"):
            assert a[name] == pytest.approx(b[name], rel=1e-4, abs=1e-6), name


def mirrored(ground: np.ndarray, north_up: bool) -> Site:
    """The same farm at 42 N, or turned over at 42 S."""
    crs = pyproj.CRS.from_proj4(f"+proj=tmerc +lat_0={42 if north_up else -42} +lon_0=10 +datum=WGS84")
    rows, cols = ground.shape
    heights = ground if north_up else ground[::-1]
    dem = SourceRaster((heights - 100).astype(np.float32), (1.0, 0, -cols / 2, 0, -1.0, rows / 2), crs, 100.0)
    parcel = shapely.box(-cols / 2 + 3, -rows / 2 + 3, cols / 2 - 3, rows / 2 - 3)
    return Site(dem, features([parcel], crs))


def test_mirrored_north_south_with_the_hemisphere() -> None:
    """A farm turned over north-south in the other hemisphere, half a year later, gets the same light and the same score."""
    from tests.scan.grounds import hills

    ground = hills(91, 121, 12, rise=2.0)
    ground[10:14, 30:90] += 6.0  # a row of trees to the north of the farm
    house = House(6.0, 15.0, kind="container")
    # two winters half a year apart; the sun is symmetric to 0.5 deg, the distance to it is not quite
    north = screen(mirrored(ground, True), house, settings=settings(halo="10m", crop_months="11-01:01-31"))
    south = screen(mirrored(ground, False), house, settings=settings(halo="10m", crop_months="05-02:07-31"))
    a, b = north.scans[0], south.scans[0]
    rows, cols = a.frame.grid.shape
    share = np.stack([a.frame.layers["beam_share"], b.frame.layers["beam_share"][::-1]])
    inner = np.isfinite(share).all(axis=0)
    assert (share[0] < 0.9)[inner].mean() > 0.02  # there is shade to get wrong
    off = np.abs(share[0] - share[1])[inner]  # perihelion in January and haze by hemisphere
    assert off.max() < 0.06 and off.mean() < 0.004
    flipped = (rows - 1 - b.index // cols) * cols + b.index % cols
    order = np.argsort(flipped)
    assert np.array_equal(np.sort(flipped), a.index)
    for name in ("pitch", "roughness", "crown", "deepest_cut", "earthwork"):
        assert b.measures[name][order] == pytest.approx(a.measures[name], rel=1e-3, abs=2e-4), name


def test_cast_shade_lies_on_the_polar_side() -> None:
    ground = np.full((90, 120), 50.0)
    ground[44:46, 20:100] = 58.0  # a wall running east-west
    for north_up, shaded in ((True, slice(38, 43)), (False, slice(47, 52))):
        site_ = mirrored(ground, north_up)
        result = screen(
            site_, House(4, 9, kind="container"), settings=settings(halo="5m", rubric={"pitch": {"limit": 500}})
        )
        share = result.frame.layers["beam_share"]
        bright = slice(47, 52) if north_up else slice(38, 43)
        assert np.nanmean(share[shaded, 50:70]) < 0.75
        assert np.nanmean(share[bright, 50:70]) > 0.9


def test_a_spike_in_a_level_pad_is_not_averaged_away() -> None:
    ground = np.full((70, 100), 120.0)
    ground[35, 50] += 3.0
    result = screen(site(ground), HOUSE, settings=settings())
    pad_cells = set()
    for index in result.scans[0].index:
        pad_cells.add(divmod(int(index), result.frame.grid.cols))
    assert not any(abs(r - 35) <= 4 and abs(c - 50) <= 12 for r, c in pad_cells)
    rejected = {row["rule"]: row["rejected"] for row in result.tables["rejections"].rows}
    assert rejected["deepest_cut"] + rejected.get("standing", 0) + rejected["raised"] > 0


def test_a_seam_between_tiles_is_not_built_across() -> None:
    ground = np.full((90, 120), 120.0)
    ground[:, 60:] += 0.3
    result = screen(site(ground), House(9.144, 29.2608), settings=settings(kind="in-ground"))
    for row in result.rows:
        assert row["max_cut_m"] <= 0.15
        assert row["relief_m"] < 0.31


def test_water_is_not_offered() -> None:
    rng = np.random.default_rng(3)
    _r, c = np.mgrid[0:120, 0:160]
    ground = 80 + 0.01 * c + rng.normal(0, 0.02, (120, 160))
    ground[40:80, 60:110] = 79.0  # a pond, lower than all round it
    result = screen(site(ground), House(8, 20, kind="container"), settings=settings(top=20))
    water = result.frame.layers["water_like"]
    assert water[60, 85] == 1 and water[10, 10] == 0
    assert {row["rule"] for row in result.tables["rejections"].rows if row["rejected"]} >= {"water_like"}
    for choice in result.choices:
        row, col = divmod(int(result.scans[0].index[choice.item]), result.frame.grid.cols)
        assert not (46 < row < 74 and 72 < col < 98)
