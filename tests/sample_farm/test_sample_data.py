"""The sample farm's files: they can be made again, are plain and small, and agree with the planted facts."""

import json
import subprocess
import sys
import tomllib
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import rasterio
import shapely

FARM = Path(__file__).resolve().parents[2] / "sample_data"
LAYERS = sorted(path.name for path in FARM.glob("*.gpkg"))


def heights(path):
    """Heights [m] in float64, NaN where the raster declares no data."""
    with rasterio.open(path) as src:
        return src.read(1, masked=True).astype("float64").filled(np.nan)


@pytest.fixture(scope="module")
def made_again(tmp_path_factory):
    """The folder the committed script fills when it is run as a command."""
    folder = tmp_path_factory.mktemp("farm")
    subprocess.run([sys.executable, str(FARM / "make_farm.py"), str(folder)], check=True, timeout=300)
    return folder


def test_the_script_makes_every_data_file_and_leaves_nothing_else(made_again):
    made = {path.name for path in made_again.iterdir()}
    assert made == {"dem.tif", "surface.tif", "truths.json", *LAYERS}


@pytest.mark.parametrize("name", ["dem.tif", "surface.tif"])
def test_rasters_are_made_again(made_again, name):
    with rasterio.open(FARM / name) as kept, rasterio.open(made_again / name) as made:
        assert kept.profile == made.profile
    kept, made = heights(FARM / name), heights(made_again / name)
    assert np.array_equal(np.isnan(kept), np.isnan(made))
    # Another processor may round the last bit of an exponential otherwise and move a few cells by one step.
    differing = ~np.isclose(kept, made, rtol=0, atol=1e-9, equal_nan=True)
    assert differing.mean() < 1e-4
    assert np.nanmax(abs(kept - made)) <= 1 / 8


@pytest.mark.parametrize("name", LAYERS)
def test_layers_are_made_again(made_again, name):
    kept, made = gpd.read_file(FARM / name), gpd.read_file(made_again / name)
    assert kept.crs == made.crs
    assert kept.drop(columns="geometry").equals(made.drop(columns="geometry"))
    assert shapely.equals_exact(kept.geometry.values, made.geometry.values, tolerance=1e-6).all()


def test_truths_are_made_again(made_again, farm):
    assert json.loads((made_again / "truths.json").read_text(encoding="ascii")) == farm.truths


def test_the_farm_is_small_on_disk():
    sizes = {path.name: path.stat().st_size for path in FARM.iterdir() if path.is_file()}
    assert sum(sizes.values()) < 4e6
    assert sizes["dem.tif"] < 1.5e6
    assert sizes["surface.tif"] < 2e6


def test_rasters_share_one_metric_grid_with_declared_nodata():
    with rasterio.open(FARM / "dem.tif") as dem, rasterio.open(FARM / "surface.tif") as surface:
        for src in (dem, surface):
            assert src.dtypes == ("float32",)
            assert src.nodata == -9999
            assert src.units == ("m",)
            assert src.crs.to_epsg() == 32617
        assert dem.transform == surface.transform
        assert dem.shape == surface.shape == (1000, 1000)
        assert dem.res == (1, 1)


def test_nodata_is_one_small_corner(farm):
    missing = np.isnan(farm.dem)
    assert 500 < missing.sum() < 5000
    assert missing[-1, 0]
    rows, cols = np.nonzero(missing)
    assert rows.min() > 850 and cols.max() < 150


def test_surface_lies_on_or_above_the_ground_but_for_the_planted_flaws(farm):
    surface = farm.surface
    assert np.array_equal(np.isnan(surface), np.isnan(farm.dem))
    below = np.argwhere(surface < farm.dem)
    flaws = farm.truths["surface_below_ground_cells"]
    assert flaws["count"] == len(flaws["row_col"]) > 10
    assert below.tolist() == flaws["row_col"]
    dip = (farm.dem - surface)[tuple(below.T)]
    assert dip.min() >= 0.5 and dip.max() < 7.2


def test_surface_carries_woods_with_gaps(farm):
    height = farm.surface - farm.dem
    wood = height[850:, 500:]
    assert 8 < np.median(wood[wood > 5]) < 20
    assert 18 < np.nanmax(height) < 24
    assert 0.02 < np.mean(wood < 1) < 0.4


def test_obstacles_agree_with_the_surface(farm):
    height = farm.surface - farm.dem
    obstacles = gpd.read_file(FARM / "obstacles.gpkg")
    assert set(obstacles.geom_type) == {"Point", "LineString", "Polygon"}
    trees = obstacles[obstacles.geom_type == "Point"]
    assert set(trees["kind"]) == {"deciduous", "evergreen"}
    assert trees[["height_m", "crown_radius_m", "crown_base_m"]].notna().all(axis=None)
    for _, tree in trees.iterrows():
        crown = height[farm.cells_in(tree.geometry.buffer(tree["crown_radius_m"]))]
        assert crown.max() == pytest.approx(tree["height_m"], abs=0.4)
    built = obstacles[obstacles.geom_type == "Polygon"].set_index("what")
    assert dict(built["height_m"]) == {"barn": 9.0, "house": 7.0, "shed": 4.0}
    for _, building in built.iterrows():
        roof = height[farm.cells_in(building.geometry)]
        assert roof.max() == pytest.approx(building["height_m"], abs=0.4)
    hedge = obstacles[obstacles.geom_type == "LineString"].iloc[0]
    along = height[farm.cells_in(hedge.geometry.buffer(hedge["width_m"] / 2))]
    assert np.median(along) == pytest.approx(hedge["height_m"], abs=1.0)
    structures = gpd.read_file(FARM / "structures.gpkg").set_index("what")
    same_order = built.loc[structures.index]
    assert shapely.equals_exact(structures.geometry.values, same_order.geometry.values, 1e-9).all()


def test_parcels_are_as_the_truths_say(farm):
    assert farm.parcels.crs.to_epsg() == 32617
    shapes = {name: shapely.get_parts(outline) for name, outline in farm.parcels.geometry.items()}
    assert all(farm.parcels.is_valid)
    assert {name for name, parts in shapes.items() if len(parts) > 1} == {farm.truths["multipart"]["parcel"]}
    assert len(shapes[farm.truths["multipart"]["parcel"]]) == farm.truths["multipart"]["parts"] == 2
    holed = {name: parts[0].interiors[0] for name, parts in shapes.items() if len(parts[0].interiors)}
    assert set(holed) == {farm.truths["with_hole"]["parcel"]}
    hole = shapely.Polygon(holed[farm.truths["with_hole"]["parcel"]])
    assert hole.area == pytest.approx(farm.truths["with_hole"]["hole_m2"], abs=0.1)
    assert all(hole.contains(building) for building in gpd.read_file(FARM / "structures.gpkg").geometry)
    assert farm.parcels.area.sum() == pytest.approx(farm.parcels.union_all().area, abs=1e-6)
    sides = {name: widest_circle_m(outline) for name, outline in farm.parcels.geometry.items()}
    narrow = farm.truths["too_narrow"]
    assert sides.pop(narrow["parcel"]) == pytest.approx(narrow["width_m"], abs=0.05)
    assert min(sides.values()) > 30


def widest_circle_m(outline):
    """Diameter of the largest circle that fits in a polygon [m]."""
    return 2 * shapely.maximum_inscribed_circle(outline, tolerance=0.01).length


def test_planted_features_lie_in_their_parcels(farm):
    for fact in ("terrace", "pond", "hollow", "knoll"):
        assert farm.parcels.geometry[farm.truths[fact]["parcel"]].contains(farm.place(fact)), fact
    road = gpd.read_file(FARM / "road.gpkg").set_index("what").geometry["public road"]
    split = farm.parcels.geometry[farm.truths["multipart"]["parcel"]]
    assert split.distance(road) > 5
    assert road.intersects(split.convex_hull)


def test_soils_cover_the_whole_square_once(farm):
    soils = gpd.read_file(FARM / "soils.gpkg")
    square = shapely.box(*rasterio.transform.array_bounds(1000, 1000, farm.transform))
    assert soils.area.sum() == pytest.approx(square.area, rel=1e-9)
    assert soils.union_all().symmetric_difference(square).area < 1
    assert soils["drainage_class"].isna().sum() == 1
    assert set(soils["drainage_class"].dropna()) == {
        "well drained",
        "moderately well drained",
        "somewhat poorly drained",
        "poorly drained",
    }
    assert set(soils["hydrologic_group"].dropna()) <= {"A", "B", "C", "D", "A/D", "B/D", "C/D"}


@pytest.mark.parametrize("name", LAYERS)
def test_every_layer_is_plain(name):
    assert pyogrio.list_layers(FARM / name)[:, 0].tolist() == [Path(name).stem]
    frame = gpd.read_file(FARM / name)
    assert len(frame) and frame.crs.to_epsg() == 32617
    assert frame.is_valid.all() and not frame.is_empty.any()
    for column in frame.select_dtypes(["object", "string"]).columns:
        assert all(value.isascii() for value in frame[column].dropna()), column


def test_project_file_names_files_that_exist():
    project = tomllib.loads((FARM / "farm.toml").read_text(encoding="ascii"))
    keys = ("dem", "parcels", "surface", "obstacles", "structures", "lamps", "soils")
    named = [project[key] for key in keys]
    named += [entry.partition("@")[0] for entry in project["keep_out"]]
    named += list(project["service"].values())
    assert {name for name in named if not (FARM / name).is_file()} == set()
    assert set(LAYERS) <= set(named)
