"""The light of a season against one shadow a sun step, and trees that are bare for a part of it."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from tests.scan.grounds import features, hills, site
from tunnelsite import House, screen
from tunnelsite.core.layers import Layer
from tunnelsite.kernels.horizon import cast_shadow
from tunnelsite.light.irradiance import clear_sky_steps
from tunnelsite.light.season import BareTrees, bare_trees, season_sun
from tunnelsite.light.sun import Place
from tunnelsite.processes.season_light import PROCESS
from tunnelsite.settings import settings_from

WINTER = ((10, 1), (4, 30))


def grove() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(ground, surface with a deciduous row and a shed, the same without the row)."""
    ground = (hills(60, 70, 3) - 100).astype(np.float32)
    leafless = ground.copy()
    leafless[20:25, 10:18] += 5
    surface = leafless.copy()
    surface[34:37, 15:60] += 11
    return ground, surface, leafless


def layer(values, unit: str = "m") -> Layer:
    return Layer(values, unit, "")


@pytest.mark.parametrize("lat", [44.0, -38.0])
def test_against_one_shadow_a_step(lat: float) -> None:
    ground, surface, leafless = grove()
    place = Place(lat, 10.0, 100.0)
    period = WINTER if lat > 0 else ((4, 1), (10, 30))
    sun = season_sun(clear_sky_steps(place, 30), period, bare_trees(lat))
    inputs = {
        "ground": layer(ground),
        "surface": layer(surface),
        "surface_leafless": layer(leafless),
        "sun": layer(sun),
    }
    share = PROCESS(inputs, {"azimuths": 180})["beam_share"].values
    rows = np.linspace(0, len(sun) - 1, 240).astype(int)  # every so many steps; the mean over steps is what is compared
    sun = sun[rows]
    sun_share = PROCESS({**inputs, "sun": layer(sun)}, {"azimuths": 360})["beam_share"].values
    slow = np.zeros(ground.shape)
    for azimuth, elevation, energy, passes in sun:
        hidden = cast_shadow(surface, ground + 1, 1.0, azimuth, elevation)
        solid = cast_shadow(leafless, ground + 1, 1.0, azimuth, elevation)
        slow += energy * np.where(hidden, np.where(solid, 0.0, passes), 1.0)
    slow /= sun[:, 2].sum()
    error = np.abs(sun_share - slow)
    assert np.sqrt(np.mean(error**2)) < 0.01  # a sun between two directions takes part of each one's horizon
    assert np.abs(np.mean(share) - np.mean(slow)) < 0.02


def test_bare_trees_lie_between_leaf_and_nothing() -> None:
    ground, surface, leafless = grove()
    steps = clear_sky_steps(Place(44.0, 10.0, 100.0), 30)

    def share(top: np.ndarray, bare: BareTrees | None) -> np.ndarray:
        inputs = {"ground": layer(ground), "surface": layer(top), "sun": layer(season_sun(steps, WINTER, bare))}
        if top is surface:
            inputs["surface_leafless"] = layer(leafless)
        return PROCESS(inputs)["beam_share"].values

    leaf, bare, none = share(surface, None), share(surface, bare_trees(44.0)), share(leafless, None)
    assert (leaf <= bare + 1e-6).all() and (bare <= none + 1e-6).all()
    behind = (slice(38, 42), slice(25, 50))
    assert leaf[30:33, 25:50].mean() < bare[30:33, 25:50].mean() < none[30:33, 25:50].mean()
    assert np.abs(leaf[behind] - none[behind]).max() < 0.25  # to the sunny side of the row there is little to lose


def test_the_months_without_leaves_follow_the_hemisphere() -> None:
    assert bare_trees(44.0).period == ((11, 1), (4, 15))
    assert bare_trees(-38.0).period == ((5, 1), (10, 15))
    assert bare_trees(10.0) is None


def test_polar_night_is_not_assessed() -> None:
    ground, surface, _ = grove()
    sun = season_sun(clear_sky_steps(Place(80.0, 10.0, 0.0)), ((12, 1), (12, 31)))
    assert len(sun) == 0
    share = PROCESS({"ground": layer(ground), "surface": layer(surface), "sun": layer(sun)})["beam_share"].values
    assert np.isnan(share).all()


def test_a_screening_in_polar_night_leaves_the_sun_out() -> None:
    from dataclasses import replace

    import pyproj

    farm = site(hills(60, 80, 2))
    crs = pyproj.CRS.from_proj4("+proj=tmerc +lat_0=80 +lon_0=20 +datum=WGS84")
    west, north = farm.dem.affine[2], farm.dem.affine[5]
    moved = replace(
        farm,
        dem=replace(farm.dem, crs=crs, affine=(1, 0, -40, 0, -1, 30)),
        parcels=features([shapely.affinity.translate(farm.parcels.geometry[0], -40 - west, 30 - north)], crs),
    )
    result = screen(
        moved, House(4, 9, kind="container"), settings=settings_from({"crop_months": "12-01:12-31", "halo": "5m"})
    )
    assert result.rows and all(row["beam_share"] is None for row in result.rows)
    assert all("sun not assessed" in row["flags"] for row in result.rows)
    assert result.tables["candidates"].values("score_sun") == [None] * len(result.rows)


def test_deciduous_obstacles_take_the_model_down_to_the_ground() -> None:
    ground = np.full((60, 80), 100.0)
    west, north = 499_900.0, 4_700_100.0
    tree = shapely.Point(west + 40, north - 30)
    shapes = {"height_m": [12.0], "crown_radius_m": [4.0]}
    for kind, passes in (("deciduous", True), ("evergreen", False)):
        farm = site(ground, obstacles=features([tree], kind=[kind], name="trees", **shapes))
        result = screen(
            farm, House(4, 9, kind="container"), settings=settings_from({"halo": "5m", "bare_trees": "11-01:04-15"})
        )
        top, bare = (result.frame.layers[name] for name in ("surface", "surface_leafless"))
        assert np.nanmax(top) == pytest.approx(12.0, abs=0.1)
        assert (np.nanmax(bare) < 1.0) == passes
        assert (top is bare) == (not passes)
