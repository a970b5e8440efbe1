"""The light of a season against one shadow a sun step, and trees that are bare for a part of it."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from tests.scan.grounds import features, hills, raster, site
from tunnelsite import House, screen
from tunnelsite.core.crowns import Crowns
from tunnelsite.core.errors import UsageError
from tunnelsite.core.layers import Layer
from tunnelsite.kernels.light.horizon import cast_shadow
from tunnelsite.processes.season_light import PROCESS
from tunnelsite.scan.refine import dark_words
from tunnelsite.settings.model import settings_from
from tunnelsite.sun.irradiance import clear_sky_steps
from tunnelsite.sun.position import Observer
from tunnelsite.sun.season import LEAST_DAYS, BareTrees, bare_trees, crop_month_of, season_sun

WINTER = ((10, 1), (4, 30))


def grove() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(ground, surface with a deciduous row and a shed, the same without the row)."""
    ground = (hills(60, 70, 3) - 100).astype(np.float32)
    leafless = ground.copy()
    leafless[20:25, 10:18] += 5
    surface = leafless.copy()
    surface[34:37, 15:60] += 11
    return ground, surface, leafless


UNITS = {spec.id: spec.unit for spec in PROCESS.description.reads}


def layer(values, name: str = "ground") -> Layer:
    return Layer(values, UNITS[name], "")


def test_nothing_lets_through_more_than_all_of_the_beam() -> None:
    """Level ground is in the sun at all times: the share is 1, and the sum of 360 directions ends no bit beyond it."""
    numbers = np.random.default_rng(0)
    sun = np.column_stack([numbers.uniform(low, high, 20_000) for low, high in ((0, 360), (5, 60), (0, 900))])
    level = layer(np.zeros((12, 12), np.float32))
    share = PROCESS({"ground": level, "surface": level, "sun": layer(sun, "sun")}, {"azimuths": 360})[
        "beam_share"
    ].values
    assert share.max() <= 1 and share.min() == pytest.approx(1, abs=1e-5)


@pytest.mark.parametrize("lat", [44.0, -38.0])
def test_against_one_shadow_a_step(lat: float) -> None:
    ground, surface, leafless = grove()
    place = Observer(lat, 10.0, 100.0)
    period = WINTER if lat > 0 else ((4, 1), (10, 30))
    sun = season_sun(clear_sky_steps(place, 30), period, bare_trees(lat))
    inputs = {
        "ground": layer(ground),
        "surface": layer(surface),
        "surface_leafless": layer(leafless),
        "sun": layer(sun, "sun"),
    }
    share = PROCESS(inputs, {"azimuths": 180})["beam_share"].values
    rows = np.linspace(0, len(sun) - 1, 240).astype(int)  # every so many steps; the mean over steps is what is compared
    sun = sun[rows]
    sun_share = PROCESS({**inputs, "sun": layer(sun, "sun")}, {"azimuths": 360})["beam_share"].values
    slow = np.zeros(ground.shape)
    for azimuth, elevation, energy, _, passes in sun:
        hidden = cast_shadow(surface, ground + 1, 1.0, azimuth, elevation)
        solid = cast_shadow(leafless, ground + 1, 1.0, azimuth, elevation)
        slow += energy * np.where(hidden, np.where(solid, 0.0, passes), 1.0)
    slow /= sun[:, 2].sum()
    error = np.abs(sun_share - slow)
    assert np.sqrt(np.mean(error**2)) < 0.01  # a sun between two directions takes part of each one's horizon
    assert np.abs(np.mean(share) - np.mean(slow)) < 0.02


def test_bare_trees_lie_between_leaf_and_nothing() -> None:
    ground, surface, leafless = grove()
    steps = clear_sky_steps(Observer(44.0, 10.0, 100.0), 30)

    def share(top: np.ndarray, bare: BareTrees | None) -> np.ndarray:
        inputs = {"ground": layer(ground), "surface": layer(top), "sun": layer(season_sun(steps, WINTER, bare), "sun")}
        if top is surface:
            inputs["surface_leafless"] = layer(leafless)
        return PROCESS(inputs)["beam_share"].values

    leaf, bare, none = share(surface, None), share(surface, bare_trees(44.0)), share(leafless, None)
    assert (leaf <= bare + 1e-4).all() and (bare <= none + 1e-4).all()
    behind = (slice(38, 42), slice(25, 50))
    assert leaf[30:33, 25:50].mean() < bare[30:33, 25:50].mean() < none[30:33, 25:50].mean()
    assert np.abs(leaf[behind] - none[behind]).max() < 0.25  # to the sunny side of the row there is little to lose


def test_the_months_without_leaves_follow_the_hemisphere() -> None:
    assert bare_trees(44.0).period == ((11, 1), (4, 15))
    assert bare_trees(-38.0).period == ((5, 1), (10, 15))
    assert bare_trees(10.0) is None


def test_polar_night_is_not_assessed() -> None:
    ground, surface, _ = grove()
    sun = season_sun(clear_sky_steps(Observer(80.0, 10.0, 0.0)), ((12, 1), (12, 31)))
    assert len(sun) == 0
    share = PROCESS({"ground": layer(ground), "surface": layer(surface), "sun": layer(sun, "sun")})["beam_share"].values
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
        top = result.frame.layers["surface"]
        bare = result.frame.layers.get("surface_leafless", top)
        assert np.nanmax(top) == pytest.approx(12.0, abs=0.1)
        assert (np.nanmax(bare) < 1.0) == passes
        assert (top is bare) == (not passes)


@pytest.mark.parametrize("lat", [44.0, -38.0])
def test_several_kinds_of_crowns_against_one_shadow_a_step(lat: float) -> None:
    """Three kinds, one of them thin in leaf too; a beam through several is cut by the densest."""
    kinds = (Crowns(0.0, 0.3), Crowns(0.0, 0.58), Crowns(0.2, 0.7))
    solid = (hills(50, 60, 3) - 100).astype(np.float32)
    ground = solid.copy()
    solid[20:24, 8:16] += 5
    only = [solid.copy() for _ in kinds]
    only[0][30:32, 10:40] += 8
    only[1][33:36, 25:50] += 12
    only[2][14:17, 20:55] += 9
    nested = [solid, only[0], np.maximum(only[0], only[1])]
    top = np.maximum(nested[2], only[2])
    period = WINTER if lat > 0 else ((4, 1), (10, 30))  # leaves are on for a part of it
    sun = season_sun(clear_sky_steps(Observer(lat, 10.0, 100.0), 30), period, bare_trees(lat), kinds)
    sun = sun[np.linspace(0, len(sun) - 1, 240).astype(int)]
    assert sun.shape[1] == 7 and len(np.unique(sun[:, 4])) == 2
    names = ("surface_leafless", "surface_leafless_2", "surface_leafless_3")
    inputs = {"ground": layer(ground), "surface": layer(top), "sun": layer(sun, "sun")}
    inputs |= {name: layer(values) for name, values in zip(names, nested, strict=True)}
    share = PROCESS(inputs, {"azimuths": 360})["beam_share"].values
    slow = np.zeros(ground.shape)
    for step in sun:
        passes = np.ones(ground.shape)
        for kind in range(3):
            passes = np.where(
                cast_shadow(only[kind], ground + 1, 1.0, *step[:2]), np.minimum(passes, step[4 + kind]), passes
            )
        slow += step[2] * np.where(cast_shadow(solid, ground + 1, 1.0, *step[:2]), 0.0, passes)
    slow /= sun[:, 2].sum()
    assert np.sqrt(np.mean((share - slow) ** 2)) < 0.01
    assert abs(share.mean() - slow.mean()) < 0.003
    assert np.abs(slow - PROCESS({k: inputs[k] for k in ("ground", "surface", "sun")})["beam_share"].values).max() > 0.1


def test_crowns_that_pass_everything_or_nothing() -> None:
    ground, surface, leafless = grove()
    steps = clear_sky_steps(Observer(44.0, 10.0, 100.0), 30)
    inputs = {"ground": layer(ground), "surface": layer(surface), "surface_leafless": layer(leafless)}

    def share(passes: float) -> np.ndarray:
        sun = season_sun(steps, WINTER, BareTrees(((1, 1), (12, 31)), passes))
        return PROCESS(inputs | {"sun": layer(sun, "sun")})["beam_share"].values

    def plain(top: np.ndarray) -> np.ndarray:
        sun = season_sun(steps, WINTER)
        return PROCESS({"ground": layer(ground), "surface": layer(top), "sun": layer(sun, "sun")})["beam_share"].values

    assert np.abs(share(1.0) - plain(leafless)).max() < 1e-4
    assert np.abs(share(0.0) - plain(surface)).max() < 1e-4
    assert np.abs(share(0.5) - (plain(surface) + plain(leafless)) / 2).max() < 2e-4


def test_columns_and_surfaces_have_to_agree() -> None:
    ground, surface, leafless = grove()
    sun = season_sun(clear_sky_steps(Observer(44.0, 10.0, 100.0), 60), WINTER, bare_trees(44.0))
    inputs = {"ground": layer(ground), "surface": layer(surface), "sun": layer(sun, "sun")}
    two = {"surface_leafless": layer(leafless), "surface_leafless_2": layer(leafless.copy())}
    with pytest.raises(UsageError, match="2 surfaces"):
        PROCESS(inputs | two)
    with pytest.raises(UsageError, match="square"):
        PROCESS(inputs | {"ground": Layer(ground, "m", "", (1.0, 2.0))})


def test_a_model_and_kinds_in_a_whole_screening() -> None:
    """The model holds the trees too; inside their outline it goes down to the ground, a shed that stands there stays."""
    west, north = 499_900.0, 4_700_100.0
    shapes = [
        shapely.box(west + 30, north - 40, west + 50, north - 30),
        shapely.box(west + 34, north - 36, west + 38, north - 32),
    ]
    ground = np.full((60, 80), 100.0)
    model = ground.copy()
    model[29:41, 29:51] = 111.0
    farm = site(
        ground,
        obstacles=features(shapes, kind=["deciduous", "shed"], height_m=[11.0, 4.0], name="trees"),
        surface=raster(model, west, north, datum_m=100.0),
    )
    result = screen(
        farm, House(4, 9, kind="container"), settings=settings_from({"halo": "5m", "bare_transmission": 0.5})
    )
    frame = result.frame
    bare, top = frame.layers["surface_leafless"], frame.layers["surface"]
    assert np.nanmax(top) == pytest.approx(11.0, abs=0.1)
    assert (bare > 10.5).sum() < 0.35 * (top > 10.5).sum()  # only the model's fringe outside the outline stands
    assert ((bare > 3.5) & (bare < 4.5)).sum() >= 12
    assert frame.crowns.kinds == (Crowns(0.0, 0.5),)
    notes = " ".join(frame.notes)
    assert "0 in leaf and 0.5 bare" in notes and "down to the ground" in notes and "model" in notes


@pytest.mark.parametrize(("lat", "period"), [(44.0, WINTER), (-38.0, ((4, 1), (10, 30))), (44.0, ((1, 1), (12, 31)))])
def test_the_darkest_month_against_each_month_alone(lat: float, period) -> None:
    """Each month screened by itself gives its share; the darkest is the least of them, and all of them add up to the season's."""
    ground, surface, leafless = grove()
    place = Observer(lat, 10.0, 100.0)
    steps = clear_sky_steps(place, 30)
    inputs = {"ground": layer(ground), "surface": layer(surface), "surface_leafless": layer(leafless)}
    sun = season_sun(steps, period, bare_trees(lat))
    made = PROCESS(inputs | {"sun": layer(sun, "sun")})
    months = [int(month) for month in dict.fromkeys(sun[:, 3])]
    alone = [PROCESS(inputs | {"sun": layer(sun[sun[:, 3] == month], "sun")})["beam_share"].values for month in months]
    energy = [sun[sun[:, 3] == month, 2].sum() for month in months]
    np.testing.assert_allclose(made["beam_share_worst"].values, np.min(alone, axis=0), atol=3e-4)
    np.testing.assert_allclose(made["beam_share"].values, np.average(alone, axis=0, weights=energy), atol=3e-4)
    named, least = made["worst_month"].values, np.sort(alone, axis=0)
    clear = (least[1] - least[0] > 1e-3) & (least[0] < 0.999)
    assert clear.mean() > 0.3
    assert (np.array(months)[np.argmin(alone, axis=0)] == named)[clear].all()
    assert (named[least[0] >= 1.0] == 0).all()


def test_a_remnant_of_a_month_counts_with_the_month_beside_it() -> None:
    def months(first, last):
        return crop_month_of((first, last))

    whole = months((10, 1), (4, 30))
    assert set(whole) == {0, 10, 11, 12, 1, 2, 3, 4} and whole[273] == 10 and whole[0] == 1 and whole[272] == 0
    cut = months((10, 30), (4, 2))  # 2 days of October, 2 of April
    assert set(cut) == {0, 11, 12, 1, 2, 3} and cut[302] == 11 and cut[91] == 3
    short = months((4, 28), (5, 5))  # 3 and 5 days: neither is a month, together they are one
    assert set(short) == {0, 5} and (short > 0).sum() == 8
    edge = months((10, 31 - LEAST_DAYS + 1), (12, 31))
    assert set(edge) == {0, 10, 11, 12}
    assert set(months((1, 1), (12, 31))) == set(range(1, 13))


def test_winter_shade_is_not_averaged_away() -> None:
    """A wood to the south-west takes December's afternoons: the season as a whole hardly shows it, the darkest month does."""
    ground = np.zeros((90, 90), np.float32)
    surface = ground.copy()
    surface[50:90, 0:38] = 14.0
    sun = season_sun(clear_sky_steps(Observer(44.0, 10.0, 100.0)), WINTER)
    made = PROCESS({"ground": layer(ground), "surface": layer(surface), "sun": layer(sun, "sun")})
    at = (28, 52)
    season, worst, month = (made[name].values[at] for name in ("beam_share", "beam_share_worst", "worst_month"))
    assert month in (12, 1) and season > worst + 0.05


def test_a_month_with_hardly_any_sun_is_not_judged() -> None:
    """At 66.3 N the sun of December clears the level horizon by minutes at noon: any hedge hides all of it, and no crop misses it."""
    ground = np.zeros((60, 60), np.float32)
    surface = ground.copy()
    surface[50:53, :] = 3.0
    sun = season_sun(clear_sky_steps(Observer(66.3, 20.0, 100.0)), ((11, 1), (4, 30)))
    made = PROCESS({"ground": layer(ground), "surface": layer(surface), "sun": layer(sun, "sun")})
    assert 12 in sun[:, 3] and made["worst_month"].values[20, 30] != 12
    assert made["beam_share_worst"].values[20, 30] > 0.3


@pytest.mark.parametrize(
    ("share", "month", "said"),
    [(0.05, 12, "dark: 5 % of the sun in Dec"), (0.6, 1, ""), (0.99, 3, ""), (None, None, ""), (0.3, None, "")],
)
def test_a_place_whose_darkest_crop_month_has_no_marks_is_flagged(share, month, said):
    """In a valley of the Alps 5 % of December's sun earned 80 points by all else, without a word."""
    assert dark_words({"beam_share_worst": share, "worst_month": month}) == said
