"""Paths in settings: seen from the project file, from another folder, and back; texts of parameters that name files among them."""

from __future__ import annotations

from pathlib import Path

import pytest

from tunnelsite.settings.paths import anchored, files_of, relative
from tunnelsite.settings.project_file import project_settings

GIVEN = {
    "dem": "dem.tif",
    "setback": "20ft",
    "keep_out": ["wet@land.gpkg@10m", "missing.gpkg@3m"],
    "service": {"water": "water.gpkg"},
    "layer": {"soil_ph": "ph.tif@1"},
    "parameter": {
        "own": {"raster": "ph.tif", "lines": "a.gpkg#roads; b.gpkg", "word": "missing", "folder": "tiles", "n": 3}
    },
}


@pytest.fixture
def farm(tmp_path: Path) -> Path:
    for name in ("dem.tif", "wet@land.gpkg", "water.gpkg", "ph.tif", "a.gpkg", "b.gpkg"):
        (tmp_path / name).write_bytes(b"x")
    (tmp_path / "tiles").mkdir()
    return tmp_path


def test_parameters_of_a_project_file_are_seen_from_where_it_lies(farm, monkeypatch, tmp_path_factory) -> None:
    (farm / "farm.toml").write_text('dem = "dem.tif"\n[parameter.own]\nraster = "ph.tif"\nword = "missing"\n')
    monkeypatch.chdir(tmp_path_factory.mktemp("elsewhere"))
    values, _ = project_settings(farm / "farm.toml")
    assert values["parameter"] == {"own": {"raster": str(farm / "ph.tif"), "word": "missing"}}


def test_every_form_of_a_path_is_anchored_and_nothing_else(farm) -> None:
    found = anchored(GIVEN, farm)
    assert found["dem"] == f"{farm}/dem.tif" and found["setback"] == "20ft"
    assert found["keep_out"] == [f"{farm}/wet@land.gpkg@10m", f"{farm}/missing.gpkg@3m"]
    assert found["service"] == {"water": f"{farm}/water.gpkg"} and found["layer"] == {"soil_ph": f"{farm}/ph.tif@1"}
    own = found["parameter"]["own"]
    assert own["lines"] == f"{farm}/a.gpkg#roads; {farm}/b.gpkg"
    assert (own["word"], own["folder"], own["n"]) == ("missing", "tiles", 3)  # a plain word is no folder
    assert GIVEN["parameter"]["own"]["raster"] == "ph.tif"  # what was given stays as it is


def test_relative_and_back(farm) -> None:
    whole = anchored(GIVEN, farm)
    seen = relative(whole, farm / "results")
    assert seen["dem"] == "../dem.tif" and seen["keep_out"][0] == "../wet@land.gpkg@10m"
    again = anchored(seen, farm / "results")
    (farm / "results").mkdir()
    assert [str(Path(file).resolve()) for file in files_of(anchored(seen, farm / "results"))] == files_of(whole)
    assert again["service"].keys() == whole["service"].keys()


def test_files_are_named_without_distance_unit_and_layer(farm) -> None:
    assert files_of(anchored(GIVEN, farm)) == [
        f"{farm}/{name}" for name in ("dem.tif", "water.gpkg", "ph.tif", "wet@land.gpkg", "missing.gpkg", "a.gpkg", "b.gpkg")
    ]  # fmt: skip
