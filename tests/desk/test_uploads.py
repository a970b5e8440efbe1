"""Dropped files: safe names, bounds, nothing half, lists and zips turned into what is read."""

from __future__ import annotations

import asyncio
import io
import zipfile
from collections.abc import AsyncIterator
from pathlib import Path

import geopandas
import pytest
import shapely

from tests.desk.fields import field_project
from tunnelsite.core.errors import UsageError
from tunnelsite.desk import uploads
from tunnelsite.desk.gather_files import sources_of
from tunnelsite.desk.project import Project
from tunnelsite.desk.uploads import Upload, safe_name

TYPE = "multipart/form-data; boundary=XX"


def body(*files: tuple[str, bytes]) -> bytes:
    parts = [
        b'--XX\r\nContent-Disposition: form-data; name="file"; filename="'
        + name.encode()
        + b'"\r\n\r\n'
        + content
        + b"\r\n"
        for name, content in files
    ]
    return b"".join(parts) + b"--XX--\r\n"


async def pieces(content: bytes, size: int = 37) -> AsyncIterator[bytes]:
    for at in range(0, len(content), size):
        yield content[at : at + size]


def dropped(project: Project, content: bytes) -> Upload:
    upload = Upload(project, TYPE)
    asyncio.run(upload.take(pieces(content)))
    return upload


def visible(folder: Path) -> set[str]:
    return {file.name for file in folder.iterdir()}


@pytest.mark.parametrize(
    ("given", "name"),
    [("../../etc/dem.tif", "dem.tif"), ("C:\\x\\Dem.TIF", "Dem.tif"), (".hidden.gpkg", "hidden.gpkg"), ("a;b\"!\n.csv", "a_b.csv"),
     ("x" * 300 + ".tif", "x" * 80 + ".tif")],
)  # fmt: skip
def test_names_become_plain_ones(given: str, name: str) -> None:
    assert safe_name(given) == name


@pytest.mark.parametrize("given", ["run.sh", "page.html", "x", "dem.tif.exe", "tiles.vrt"])
def test_other_kinds_of_files_are_refused(given: str) -> None:
    with pytest.raises(UsageError):
        safe_name(given)


def test_files_arrive_whole_and_nothing_is_written_over(tmp_path: Path) -> None:
    project, content = Project(tmp_path), bytes(range(256)) * 50
    (tmp_path / "dem.tif").write_bytes(b"mine")
    found = dropped(project, body(("dem.tif", content), ("evil.sh", b"x"), ("drawn.gpkg", b"y")))
    assert found.names == ["dem-2.tif", "drawn-2.gpkg"] and [name for name, _ in found.refused] == ["evil.sh"]
    assert (tmp_path / "dem-2.tif").read_bytes() == content and (tmp_path / "dem.tif").read_bytes() == b"mine"


def test_upload_that_breaks_off_leaves_nothing(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="broke off"):
        dropped(Project(tmp_path), body(("dem.tif", b"z" * 5000))[:3000])
    assert not visible(tmp_path)


def test_upload_that_is_too_large_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(uploads, "MOST_BYTES", 1000)
    with pytest.raises(UsageError, match="larger"):
        dropped(Project(tmp_path), body(("dem.tif", b"z" * 5000)))
    assert not visible(tmp_path)


def test_body_that_is_no_upload_is_refused(tmp_path: Path) -> None:
    for kind in ("", "application/json", "multipart/form-data"):
        with pytest.raises(UsageError):
            Upload(Project(tmp_path), kind)


def test_list_in_feet_becomes_features_in_metres(tmp_path: Path) -> None:
    found = dropped(Project(tmp_path), body(("trees.csv", b"lat,lon,height_ft\n40,-81,40\n")))
    assert found.names == ["trees.geojson"]
    assert geopandas.read_file(tmp_path / "trees.geojson")["height_m"][0] == pytest.approx(12.192)


def zipped(**files: bytes) -> bytes:
    memory = io.BytesIO()
    with zipfile.ZipFile(memory, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return memory.getvalue()


def test_shapefile_comes_out_of_its_zip_and_stays_in_the_folder(tmp_path: Path) -> None:
    source = tmp_path / "source"
    source.mkdir()
    geopandas.GeoDataFrame({"a": [1]}, geometry=[shapely.Point(0, 0).buffer(1)], crs="EPSG:4326").to_file(
        source / "f.shp"
    )
    content = zipped(**{f"../../up/field{one.suffix}": one.read_bytes() for one in source.iterdir()})
    inner = tmp_path / "farm"
    inner.mkdir()
    found = dropped(Project(inner), body(("field.zip", content)))
    assert found.names == ["field.shp"] and len(geopandas.read_file(inner / "field.shp")) == 1
    assert {path.name for path in tmp_path.iterdir()} == {"source", "farm"} and "field.zip" not in visible(inner)


@pytest.mark.parametrize("content", [b"no zip", zipped(**{"a.txt": b"x"}), zipped()])
def test_other_zips_are_refused_and_taken_away(tmp_path: Path, content: bytes) -> None:
    found = dropped(Project(tmp_path), body(("field.zip", content)))
    assert not found.names and len(found.refused) == 1 and not visible(tmp_path)


def test_zip_that_would_grow_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(uploads, "MOST_UNZIPPED", 1000)
    found = dropped(Project(tmp_path), body(("field.zip", zipped(**{"a.shp": b"0" * 5000}))))
    assert not found.names and not visible(tmp_path)


SOURCE = b'[relief]\nkind = "raster"\naddress = "https://data.example.org/%b.tif"\n'


def test_list_of_sources_is_taken_and_the_one_before_is_kept(tmp_path: Path) -> None:
    project = Project(tmp_path)
    for name in ("sources.toml", "mine.toml", "Sources.toml"):
        assert dropped(project, body((name, SOURCE % name[:1].encode()))).names == ["sources.toml"]
        assert sources_of(project)["relief"].address.endswith(f"/{name[:1]}.tif")
    assert visible(tmp_path) == {"sources.toml", "sources-2.toml", "sources-3.toml"}
    assert (tmp_path / "sources-2.toml").read_bytes() == SOURCE % b"s"


@pytest.mark.parametrize(
    ("content", "word"),
    [(b"", "no source"), (b"\xff", "none: sources file"), (b'dem = "dem.tif"', "dem is no table"), (b'[a]\nkind = "raster"', "lacks"),
     (b'[a]\nkind = "rastr"\naddress = "https://data.example.org/a.tif"', "raster")],
)  # fmt: skip
def test_other_toml_is_refused_and_the_list_stays(tmp_path: Path, content: bytes, word: str) -> None:
    project = Project(tmp_path)
    dropped(project, body(("sources.toml", SOURCE % b"x")))
    found = dropped(project, body(("list.toml", content)))
    assert not found.names and word in found.refused[0][1] and list(sources_of(project)) == ["relief"]
    assert visible(tmp_path) == {"sources.toml"}


def test_project_files_are_no_data(tmp_path: Path) -> None:
    project = field_project(tmp_path)
    before = project.text()
    assert not dropped(project, body(("farm.toml", b"x"))).names and project.text() == before
