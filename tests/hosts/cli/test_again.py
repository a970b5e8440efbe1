"""`screen --again`: a run repeated from its own GeoPackage, and what it says where something changed."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import geopandas
import pytest
import shapely

from tests.whole_run.files import UTM17, plain_farm
from tunnelsite.hosts.cli.main import main


@pytest.fixture(scope="module")
def first(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("first")
    dem, parcels = plain_farm(folder)
    out = str(folder / "sites.gpkg")
    words = ["--house", "6x15m", "--crop-months", "12-01:12-31", "--azimuths", "8", "--top", "3", "--halo", "20m"]
    assert main(["screen", str(dem), str(parcels), *words, "--out", out, "-q"]) == 0
    return folder


def test_the_same_run_is_the_same(first: Path, capsys) -> None:
    capsys.readouterr()
    assert main(["screen", "--again", str(first / "sites.gpkg"), "-q", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    again = told["again"]
    assert again["same"] and not again["versions"] and not again["inputs"] and not again["settings"]
    one, two = (geopandas.read_file(first / f"{name}.gpkg", layer="candidates") for name in ("sites", "sites-again"))
    assert len(one) == 3 and one.equals(two)


def test_what_differs_is_told(first: Path, tmp_path: Path, capsys) -> None:
    for name in ("dem.tif", "sites.gpkg"):
        shutil.copy(first / name, tmp_path)
    old = geopandas.read_file(first / "parcels.gpkg")
    west, south, east, north = old.total_bounds
    geopandas.GeoDataFrame(
        {"parcel": ["p0"]}, geometry=[shapely.box(west, south, east - 30, north)], crs=UTM17
    ).to_file(tmp_path / "parcels.gpkg", engine="pyogrio")
    capsys.readouterr()
    assert main(["screen", "--again", str(tmp_path / "sites.gpkg"), "--top", "2", "-q"]) == 0
    said = capsys.readouterr().out
    assert "input parcels.gpkg: then " in said and "setting top: then 3, now 2" in said and "Not the same" in said
    assert (tmp_path / "sites-again.gpkg").exists()


def test_what_cannot_be_repeated_is_refused(first: Path, tmp_path: Path, capsys) -> None:
    shutil.copy(first / "sites.gpkg", tmp_path)
    assert main(["screen", "--again", str(tmp_path / "sites.gpkg"), "-q"]) == 3
    assert "dem.tif" in capsys.readouterr().err
    assert main(["screen", "--again", str(first / "sites.gpkg"), "--project", "farm.toml", "-q"]) == 2
    assert main(["region", "--again", str(first / "sites.gpkg"), "-q"]) == 2
    assert "holds no region" in capsys.readouterr().err
