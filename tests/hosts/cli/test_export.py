"""`export` as a user meets it."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import rasterio

from tests.hosts.screened import asked, refused
from tests.io.handover_example import write_example
from tunnelsite.io.formats import FORMATS


@pytest.fixture(scope="module")
def sites(tmp_path_factory) -> str:
    return str(write_example(tmp_path_factory.mktemp("export") / "sites.gpkg"))


def test_every_format_at_once_into_a_new_folder(sites: str, tmp_path: Path, capsys) -> None:
    folder = tmp_path / "new" / "folder"
    found = asked(capsys, "export", sites, "--to", str(folder), "--as", ",".join(FORMATS))
    assert sorted(found["files"]) == sorted(str(path) for path in folder.iterdir())
    assert any("7 decimals" in note for note in found["notes"]) and any("stakeout" in note for note in found["notes"])
    assert {Path(name).suffix for name in found["files"]} == {
        ".geojson", ".kml", ".gpx", ".csv", ".dxf", ".parquet", ".sld", ".json",
    }  # fmt: skip


def test_rasters_and_a_report_join_the_item(sites: str, tmp_path: Path, capsys) -> None:
    rasters = tmp_path / "rasters"
    rasters.mkdir()
    place = {"crs": "EPSG:26917", "transform": rasterio.Affine(1, 0, 731_000, 0, -1, 4_765_000)}
    with rasterio.open(
        rasters / "ground.tif",
        "w",
        driver="GTiff",
        width=30,
        height=20,
        count=1,
        dtype="float32",
        nodata=np.nan,
        **place,
    ) as file:
        file.write(np.ones((1, 20, 30), np.float32))
        file.set_band_unit(1, "m")
    (tmp_path / "report.html").write_text("<p>report</p>")
    words = ("--as", "stac", "--rasters", str(rasters), "--asset", str(tmp_path / "report.html"))
    asked(capsys, "export", sites, "--to", str(tmp_path / "out"), *words)
    assets = json.loads((tmp_path / "out" / "item.json").read_text())["assets"]
    assert assets["report"]["href"] == "../report.html" and assets["report"]["type"].startswith("text/html")
    ground = assets["ground"]
    assert (ground["href"], ground["proj:shape"], ground["proj:code"]) == (
        "../rasters/ground.tif",
        [20, 30],
        "EPSG:26917",
    )
    assert ground["proj:transform"][:6] == [1, 0, 731_000, 0, -1, 4_765_000]
    assert ground["bands"][0]["unit"] == "m" and ground["bands"][0]["nodata"] == "nan"


def test_existing_files_are_kept(sites: str, tmp_path: Path, capsys) -> None:
    (tmp_path / "sites.kml").write_text("old")
    status, said = refused(capsys, "export", sites, "--to", str(tmp_path))
    assert status == 2 and "exists already" in said
    assert [path.name for path in tmp_path.iterdir()] == ["sites.kml"] and (tmp_path / "sites.kml").read_text() == "old"
    asked(capsys, "export", sites, "--to", str(tmp_path), "--as", "kml", "--overwrite")
    assert (tmp_path / "sites.kml").read_text("utf-8").startswith("<?xml")


@pytest.mark.parametrize(
    ("words", "status", "expected"),
    [
        (("--as", "geojson,shapefile"), 2, "geoparquet"),
        (("--as", ","), 2, "--as"),
        (("--as", "kml", "--asset", "x.html"), 2, "stac"),
        (("--as", "stac", "--rasters", "nowhere"), 2, "no .tif"),
        (("--as", "stac", "--asset", "nowhere.html"), 3, "nowhere.html"),
    ],
)
def test_refusals_leave_nothing_behind(sites: str, tmp_path: Path, capsys, words, status, expected) -> None:
    found = refused(capsys, "export", sites, "--to", str(tmp_path / "out"), *words)
    assert found[0] == status and expected in found[1]
    assert not (tmp_path / "out").exists()


def test_the_input_is_never_replaced(tmp_path: Path, capsys) -> None:
    sites = write_example(tmp_path / "sites.gpkg")
    report = tmp_path / "item.json"
    report.write_text("{}")
    words = ("--to", str(tmp_path), "--as", "stac", "--asset", str(report), "--overwrite")
    status, said = refused(capsys, "export", str(sites), *words)
    assert status == 2 and "also an input" in said and report.read_text() == "{}"


@pytest.mark.parametrize("name", ["no.gpkg", "text.gpkg"])
def test_what_is_no_result_is_refused(tmp_path: Path, capsys, name: str) -> None:
    (tmp_path / "text.gpkg").write_text("not a database")
    status, said = refused(capsys, "export", str(tmp_path / name), "--to", str(tmp_path / "out"))
    assert status in (2, 3) and name in said and not (tmp_path / "out").exists()


@pytest.mark.parametrize(("form", "package", "extra"), [("geoparquet", "pyarrow", "parquet"), ("dxf", "ezdxf", "dxf")])
def test_a_missing_extra_is_named(sites: str, tmp_path: Path, capsys, monkeypatch, form, package, extra) -> None:
    import builtins

    honest = builtins.__import__

    def without(name, *rest, **options):
        if name.partition(".")[0] == package:
            raise ImportError(name)
        return honest(name, *rest, **options)

    monkeypatch.setattr(builtins, "__import__", without)
    status, said = refused(capsys, "export", sites, "--to", str(tmp_path / "out"), "--as", f"geojson,{form}")
    assert status == 2 and f"pip install {package}" in said and f"extra {extra}" in said
    assert not (tmp_path / "out").exists()  # a folder that we made for nothing is taken away again
