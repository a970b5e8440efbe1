"""The example plug-in with a raster of its own, installed by pip: seen in every command that a user meets it in."""

from __future__ import annotations

import json
import os
import sqlite3
from pathlib import Path

import numpy as np
import pytest
import rasterio
from rasterio.transform import Affine

from tests.contract.test_plug_ins_installed import beside, installed  # noqa: F401
from tests.whole_run.files import NORTH, UTM17, WEST, plain_farm, write_dem
from tunnelsite.hosts.cli.main import main

QUICK = ["--house", "6x12m", "--azimuths", "8", "--halo", "10m", "--top", "3", "--shift", "0", "-q"]


@pytest.fixture(scope="module")
def farm(tmp_path_factory) -> Path:
    """A field whose soil is sour in the west and of which the north-east was not sampled, on cells of 4 m."""
    folder = tmp_path_factory.mktemp("farm")
    plain_farm(folder)
    ph = np.where(np.arange(25) < 10, 5.0, 6.5) * np.ones((20, 25))
    ph[:5, 20:] = -1
    write_dem(folder / "ph.tif", ph.astype(np.float32), Affine(4, 0, WEST, 0, -4, NORTH), UTM17, nodata=-1)
    return folder


@pytest.fixture
def there(installed, beside, farm, monkeypatch, tmp_path) -> Path:  # noqa: F811
    """A folder to work in, the plug-in on the path, of workers too."""
    beside(installed)
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join([str(installed), os.environ.get("PYTHONPATH", "")]))
    monkeypatch.chdir(tmp_path)
    return tmp_path


def rows(file: Path, sql: str) -> list[tuple]:
    database = sqlite3.connect(file)
    try:
        return database.execute(sql).fetchall()
    finally:
        database.close()


def test_screen_explain_report_and_rasters_show_it(there, farm, capsys) -> None:
    own = ["--layer", f"soil_ph={farm / 'ph.tif'}@pH"]
    files = [str(farm / "dem.tif"), str(farm / "parcels.gpkg")]
    assert main(["screen", *files, *QUICK, *own, "--out", "sites.gpkg", "--rasters", "layers", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["candidates"]
    scores = {score for (score,) in rows(Path("sites.gpkg"), "select score_example_lime_wanted from candidates")}
    assert 1.0 in scores and scores <= {1.0, None}  # None: on the land that was not sampled
    criteria = dict(rows(Path("sites.gpkg"), "select criterion, unit from criteria"))
    assert criteria["example_lime_wanted"] == "kg/m2"
    run = rows(Path("sites.gpkg"), "select kind, name, value, detail from run")
    assert any(kind == "input" and name == "ph.tif" and value.startswith("sha256 ") and "layer soil_ph, in pH" in detail
               for kind, name, value, detail in run)  # fmt: skip
    assert ("version", "plug-in lime_wanted", "tunnelsite-example-plugin 1.0.0",
            "tunnelsite.criteria: tunnelsite_example_plugin.lime:LIME_WANTED") in run  # fmt: skip
    assert any("soil_ph from ph.tif, bilinear; no data on" in value for _, _, value, _ in run)
    with rasterio.open("layers/lime_kg_m2.tif") as file:
        values = file.read(1)
        assert file.units[0] == "kg/m2" and file.tags()["layer"] == "lime_kg_m2"
    assert np.isnan(values).any() and np.nanmax(values) == pytest.approx(0.45) and np.nanmin(values) == 0
    with rasterio.open("layers/soil_ph.tif") as file:
        assert file.units[0] == "pH" and np.nanmin(file.read(1)) == 5.0
    assert main(["explain", *files, *QUICK, *own, "--rank", "1", "--json"]) == 0
    assert "example_lime_wanted" in capsys.readouterr().out
    assert main(["report", *files, *QUICK, *own, "--cards", "1", "--out", "report.html"]) == 0
    assert "Lime that the soil takes" in Path("report.html").read_text("utf-8")


def test_without_its_raster_it_is_left_out_and_that_is_said(there, farm, capsys) -> None:
    files = [str(farm / "dem.tif"), str(farm / "parcels.gpkg")]
    assert main(["screen", *files, *QUICK, "--out", "sites.gpkg"]) == 0
    told = capsys.readouterr().out
    assert "lime that the soil takes (no layer soil_ph was given: --layer soil_ph=FILE)" in told


def test_a_raster_in_another_unit_or_of_another_name_is_refused(there, farm, capsys) -> None:
    files = [str(farm / "dem.tif"), str(farm / "parcels.gpkg")]
    assert main(["screen", *files, *QUICK, "--layer", f"soil_ph={farm / 'ph.tif'}@%", "--out", "a.gpkg"]) == 3
    assert "is in %" in capsys.readouterr().err
    assert main(["screen", *files, *QUICK, "--layer", f"ground={farm / 'ph.tif'}", "--out", "a.gpkg"]) == 2
    assert "the run makes itself" in capsys.readouterr().err
    assert not Path("a.gpkg").exists()


def test_a_region_reads_it_for_every_part(there, farm) -> None:
    own = ["--layer", f"soil_ph={farm / 'ph.tif'}@pH"]
    files = [str(farm / "dem.tif"), str(farm / "parcels.gpkg")]
    quick = [word for word in QUICK if word not in ("--top", "3")]
    assert main(["region", *files, *quick, *own, "--out", "region.gpkg", "--workers", "1"]) == 0
    found = rows(Path("region.gpkg"), "select score_example_lime_wanted from candidates")
    assert (1.0,) in found and set(found) <= {(1.0,), (None,)}


def test_the_server_offers_and_runs_it(there, farm) -> None:
    pytest.importorskip("pygeoapi", reason="pygeoapi is not installed")
    pytest.importorskip("waitress", reason="waitress is not installed")
    from tests.hosts.server.served import served, tiff

    with served() as client:
        listed = [process["id"] for process in client.ask("/processes").json["processes"]]
        assert "example_lime" in listed and "example_corners" in listed
        made = client.execute("example_lime", {"soil_ph": tiff(farm / "ph.tif")})
    assert made.status == 200, made.body
    with rasterio.MemoryFile(made.body) as memory, memory.open() as file:
        values = file.read(1)
    assert np.isnan(values[:5, 20:]).all() and values[10, 5] == pytest.approx(0.45) and values[10, 15] == 0
