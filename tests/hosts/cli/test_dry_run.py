"""`check` and `--dry-run`: they refuse what the run refuses, and say first what the run would say first."""

from __future__ import annotations

import json

import numpy as np
import pytest
import shapely
from rasterio.transform import Affine

from tests.hosts.cli.test_main import called
from tests.processes.test_raised_ground import town
from tests.whole_run.files import UTM17, plain_farm, write_dem, write_parcels
from tunnelsite.screening.run_cost import refuse_shortage


@pytest.fixture
def farm(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    dem, parcels = plain_farm(tmp_path)
    return str(dem), str(parcels), "--halo", "20m", "--out", "s.gpkg", "-q"


def far_away(folder) -> str:
    heights = np.full((50, 50), 200.0, np.float32)
    return str(write_dem(folder / "far.tif", heights, Affine(50, 0, 100_000, 0, -50, 4_000_000), UTM17))


@pytest.mark.parametrize(
    ("option", "what"),
    [("--obstacles", "a column height_m"), ("--soils", "a column drainage_class"), ("--lamps", "a column lumens"),
     ("--far-dem", "do not meet")],
)  # fmt: skip
def test_the_dry_run_refuses_what_the_run_refuses(farm, tmp_path, option, what) -> None:
    """Columns that only the run looks at, and a far DEM that lies elsewhere: the same words, the same exit status."""
    inside = shapely.centroid(shapely.box(*_bounds(farm[1])))
    shape = inside if option == "--lamps" else shapely.buffer(inside, 3)
    given = far_away(tmp_path) if option == "--far-dem" else str(write_parcels(tmp_path / "x.gpkg", [shape], UTM17))
    told = [called(*words, *farm, option, given) for words in (["screen"], ["screen", "--dry-run"], ["check"])]
    assert [one.returncode for one in told] == [3, 3, 3]
    assert all(what in one.stderr for one in told) and len({one.stderr for one in told}) == 1


def _bounds(path):
    import geopandas

    return geopandas.read_file(path).total_bounds


def test_a_far_dem_in_another_unit_is_refused_by_both(farm, tmp_path) -> None:
    heights = np.full((200, 200), 200.0 / 0.3048, np.float32)
    far = str(write_dem(tmp_path / "far.tif", heights, Affine(50, 0, 695_000, 0, -50, 4_705_000), UTM17))
    assert called("check", *farm, "--far-dem", far).returncode == 3
    assert called("check", *farm, "--far-dem", far, "--far-elevation-unit", "ft").returncode == 0


def test_check_says_what_cannot_be_assessed(farm) -> None:
    said = called("check", *farm).stdout
    assert "not assessed: shade of trees and buildings (only the bare ground was given)" in said
    assert "not assessed: reach of water (no water was given)" in said


def test_check_minds_no_output_from_before(farm, tmp_path) -> None:
    (tmp_path / "s.gpkg").write_bytes(b"from before")
    assert called("check", *farm).returncode == 0
    assert called("screen", "--dry-run", *farm).returncode == 2
    assert (tmp_path / "s.gpkg").read_bytes() == b"from before"


def test_doubts_come_first(tmp_path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    dem, parcels = plain_farm(tmp_path, np.round(town()[0][25:145, :160] / 0.2) * 0.2)
    given = ("check", str(dem), str(parcels), "--halo", "20m")
    told = called(*given)
    first, second, third = told.stdout.split("\n")[:3]
    assert "steps of 0.2 m" in first and "looks like a surface model" in second and third.startswith("grid:")
    assert len(json.loads(called(*given, "--json").stdout)["doubts"]) == 2


def test_a_shortage_is_an_error_after_the_cost_is_said(farm, monkeypatch) -> None:
    import tunnelsite.screening.run_cost

    def short(site, settings, criteria):
        monkeypatch.setattr(tunnelsite.screening.run_cost, "available_bytes", lambda: 1)
        refuse_shortage(site, settings, criteria)

    monkeypatch.setattr(tunnelsite.screening.run_cost, "refuse_shortage", short)
    told = called("check", *farm)
    assert told.returncode == 4 and "cost: about" in told.stdout and "of memory" in told.stderr


def test_presets_say_what_they_changed(farm, tmp_path) -> None:
    """In a project with crop months and a weight of its own, `summer-north` has only the rest."""
    project = tmp_path / "farm.toml"
    project.write_text('crop_months = "10-01:04-30"\n[weight]\nsun = 4.0\n')
    told = called("check", *farm, "--preset", "summer-north", "--project", str(project)).stdout
    line = next(line for line in told.split("\n") if "preset summer-north" in line)
    kept, lost = line.split("overridden by what else was given: ")
    assert "weight of cold air 0.5" in kept.replace("_", " ") and "crop months" not in kept
    assert "crop months (10-01:04-30 instead of 04-01:10-31)" in lost and "weight of sun (4 instead of 2)" in lost


def test_a_process_on_its_own_knows_the_step_too(tmp_path) -> None:
    """`run level_patches` on heights in steps of 0.2 m marks none of their plateaus as water."""
    import rasterio

    ground = 3.0 * np.sin(np.arange(200) / 30)[:, None] * np.cos(np.arange(240) / 35) + 100
    ground += np.random.default_rng(1).normal(0, 0.01, ground.shape)
    heights = (np.round(ground / 0.2) * 0.2).astype(np.float32)
    dem = write_dem(tmp_path / "d.tif", heights, Affine(1, 0, 700_000, 0, -1, 4_700_000), UTM17)
    told = called("run", "level_patches", dem, tmp_path / "w.tif")
    assert told.returncode == 0 and "steps of 0.2 m" in told.stderr
    with rasterio.open(tmp_path / "w.tif") as file:
        assert not (file.read(1) == 1).any()
    assert called("run", "level_patches", dem, tmp_path / "x.tif", "--set", "height_step_m=0").returncode == 0
    with rasterio.open(tmp_path / "x.tif") as file:
        assert (file.read(1) == 1).any()
