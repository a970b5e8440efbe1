"""Files of any name that a file system takes: each reader reads that file and no other, each writer writes that file and no other.

GDAL takes a name for a small language (https://gdal.org/en/stable/user/virtual_file_systems.html, and the `DRIVER:"name":layer`
of its drivers); pyogrio reads `!` and `;`, rasterio `!` and `?`.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pyogrio
import pyproj
import pytest
from shapely.geometry import box

from tests.io.faults import folder_state
from tests.io.handover_example import write_example
from tests.io.rasters_made import hill, write
from tests.io.read.test_vectors import save
from tests.io.writers import writers
from tunnelsite.core.errors import InputRefused, ResourceShortage, UsageError
from tunnelsite.io import plain_names
from tunnelsite.io.read.files import file_name
from tunnelsite.io.read.mosaic import mosaic, read_mosaic
from tunnelsite.io.read.raster_header import raster_header
from tunnelsite.io.read.rasters import read_raster
from tunnelsite.io.read.stored import read_layers
from tunnelsite.io.read.vectors import read_columns, read_features
from tunnelsite.io.write.staging import check_output_path, write_whole

NAMES = (
    'd"d', "a;b!", "run 10:30", "line\nbreak", "tab\tand\rreturn", "what?x=1", "half#way", "pc%41%2f", "it's", "-dash", "x.zip",
    "[b]", "{c}", "<VRTDataset", "Äcker Ж 田", "back\\slash", " spaces ", "a,b", "~", "$HOME", "\x1b[31mred", "\u202eesrever",
    os.fsdecode(b"not-utf8-\xff"), "GPKG:x", "vsizip:", "n" * 200,
)  # fmt: skip
# A database in one process of its own: copies of SQLite in one process ignore each other's locks.
OTHER_PROGRAM = """
import sqlite3, sys
database = sqlite3.connect(sys.argv[1])
database.execute("PRAGMA journal_mode = WAL")
database.execute("PRAGMA wal_autocheckpoint = 0")
database.execute("ALTER TABLE plain ADD COLUMN owner TEXT DEFAULT 'them'")
database.commit()
print("ready", flush=True)
sys.stdin.readline()
"""
WRITTEN = ('d"d', "a;b!", "run 10:30", "line\nbreak", "what?x=1", "pc%41%2f", os.fsdecode(b"not-utf8-\xff"), "n" * 200)
VECTORS = ("gpkg", "geojson", "fgb", "shp", "gml", "kml", "gpx")
SHAPES = [box(7.0, 45.0, 7.001, 45.001)]


def at_awkward_place(plain: Path, name: str) -> Path:
    """The file and all of its parts moved to a folder of the name, under the name."""
    folder = plain.parent / name
    folder.mkdir()
    for part in [p for p in plain.parent.iterdir() if p.is_file() and p.stem == plain.stem]:
        part.rename(folder / f"{name}{part.suffix}")
    return folder / f"{name}{plain.suffix}"


def vector(folder: Path, ending: str) -> Path:
    if ending == "gpx":
        path = folder / "plain.gpx"
        points = '<trkpt lat="45" lon="7"/><trkpt lat="45.001" lon="7"/>'
        text = f'<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>{points}</trkseg></trk></gpx>'
        path.write_text(text)
        return path
    return save(folder / f"plain.{ending}", SHAPES, "EPSG:4326")


@pytest.mark.parametrize("ending", VECTORS)
def test_vector_files_of_any_name(tmp_path, ending) -> None:
    kinds = ("line",) if ending == "gpx" else ("polygon",)
    wanted = read_features(vector(tmp_path, ending), "PARCELS", kinds=kinds)
    for name in NAMES:
        path = at_awkward_place(vector(tmp_path, ending), name)
        found = read_features(path, "PARCELS", kinds=kinds)
        assert found.geometry[0].equals(wanted.geometry[0]), name
        assert (found.name, len(found), found.crs) == (file_name(path), 1, wanted.crs), name
        assert sorted(p.stem for p in path.parent.iterdir()) == [path.stem] * len(list(path.parent.iterdir())), name


def test_another_file_is_never_read_instead(tmp_path) -> None:
    """What GDAL makes of `d"d.gpkg` is `dd.gpkg`."""
    other = [box(0, 0, 1, 1)]
    for name, instead in (('d"d', "dd"), ("a!b", "a"), ("a;b", "a"), ("c?d=e", "c"), ("p%41", "pA")):
        for ending in ("gpkg", "geojson"):
            save(tmp_path / f"{instead}.{ending}", other, "EPSG:4326")
            mine = save(tmp_path / f"plain.{ending}", SHAPES, "EPSG:4326").rename(tmp_path / f"{name}.{ending}")
            assert read_features(mine, "PARCELS").geometry[0].equals(SHAPES[0]), mine


def test_a_layer_is_named_in_a_file_of_any_name(tmp_path) -> None:
    path = save(tmp_path / "plain.gpkg", SHAPES, "EPSG:4326", layer='lay"er;x').rename(tmp_path / 'd"d:.gpkg')
    assert len(read_features(f'{path}#lay"er;x', "PARCELS")) == 1
    with pytest.raises(UsageError, match="one of its layers"):
        read_features(f"{path}#other", "PARCELS")
    shape = vector(tmp_path, "shp")
    assert len(read_features(f"{shape}#plain", "PARCELS")) == 1


def test_changes_that_stand_in_the_journal_alone_are_read_and_counted(tmp_path) -> None:
    """A database that another program has open (https://sqlite.org/wal.html): what it changed last stands beside the file."""
    path = at_awkward_place(vector(tmp_path, "gpkg"), 'd"d:')
    before = read_features(path, "PARCELS")
    other = subprocess.Popen(
        [sys.executable, "-c", OTHER_PROGRAM, str(path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    )
    assert other.stdout.readline() == b"ready\n"
    found = read_features(path, "PARCELS")
    other.communicate(b"\n")
    assert "owner" not in before.columns and list(found.columns["owner"]) == ["them"]
    assert found.sha256 != before.sha256 and any("sha256sum" in note and "-wal" in note for note in found.notes)


def test_the_digest_of_a_shapefile_counts_its_parts(tmp_path) -> None:
    path = vector(tmp_path, "shp")
    before = read_features(path, "PARCELS")
    table = path.with_suffix(".dbf")
    table.write_bytes(table.read_bytes()[:1] + b"\x7a" + table.read_bytes()[2:])  # the year of the last change
    assert read_features(path, "PARCELS").sha256 != before.sha256


@pytest.mark.parametrize("ending", ["tif", "asc"])
def test_rasters_of_any_name(tmp_path, ending) -> None:
    for name in NAMES:
        plain = tmp_path / f"plain.{ending}"
        if ending == "tif":
            write(plain, hill(5, 6))
        else:
            plain.write_text("ncols 4\nnrows 3\nxllcorner 500000\nyllcorner 4600000\ncellsize 1\n" + "7.5 8 9 10\n" * 3)
            plain.with_suffix(".prj").write_text(pyproj.CRS("EPSG:32615").to_wkt("WKT1_ESRI"))
        path = at_awkward_place(plain, name)
        header = raster_header(path)
        raster = read_raster(header)
        assert (raster.name, raster.values.shape) == (file_name(path), (5, 6) if ending == "tif" else (3, 4)), name
        whole = mosaic(str(path.parent))
        assert np.array_equal(read_mosaic(whole, None).values, raster.values), name


def test_screenings_of_any_name(tmp_path) -> None:
    example = write_example(tmp_path / "example.gpkg")
    for name in NAMES:
        path = at_awkward_place(Path(shutil.copy(example, tmp_path / "plain.gpkg")), name)
        stored = read_layers(str(path))
        assert "candidates" in stored.tables and stored.path == path
        assert len(read_columns(str(path), "--sites", "candidates")["rank"]) == len(stored.tables["candidates"]), name


@pytest.mark.parametrize("file", sorted(writers()))
def test_outputs_of_any_name(tmp_path, file) -> None:
    """Only the file itself appears, and it is the same as under a plain name."""
    put = writers()[file]
    put(tmp_path / file, 0)
    wanted = (tmp_path / file).read_bytes()
    for name in WRITTEN:
        folder = tmp_path / name
        folder.mkdir()
        path = folder / f"{name}{Path(file).suffix}"
        beside = folder / f".a{Path(file).suffix}"  # what pyogrio made of `a;b!`
        beside.write_bytes(b"another's")
        put(path, 0)
        if name == WRITTEN[0]:
            put(path, 0)  # and replaces itself
        found = folder_state(folder)
        assert found.keys() == {path.name, beside.name}, name
        assert found[beside.name] == b"another's" and found[path.name] == wanted, name


def test_nothing_stays_in_the_folder_for_temporary_files(tmp_path, monkeypatch) -> None:
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    monkeypatch.setattr(plain_names.tempfile, "tempdir", str(scratch))
    path = vector(tmp_path, "gpkg")
    read_features(path, "PARCELS")
    path.write_bytes(path.read_bytes()[:5000])
    with pytest.raises(InputRefused) as refused:
        read_features(path, "PARCELS")
    write_whole(tmp_path / "x.txt", "x", overwrite=False)
    assert list(scratch.iterdir()) == [] and "tunnelsite-run" not in str(refused.value)


@pytest.mark.skipif(os.name == "nt", reason="folders of this kind are of POSIX")
def test_a_folder_for_temporary_files_that_is_awkward_itself(tmp_path, monkeypatch) -> None:
    awkward = tmp_path / 'tmp "1:2"'
    awkward.mkdir()
    monkeypatch.setattr(plain_names.tempfile, "tempdir", str(awkward))
    assert len(read_features(vector(tmp_path, "gpkg"), "PARCELS")) == 1  # linked from elsewhere
    monkeypatch.setattr(plain_names, "_ELSEWHERE", ())
    with pytest.raises(ResourceShortage, match="TMPDIR"):
        read_features(tmp_path / "plain.gpkg", "PARCELS")
    with pytest.raises(ResourceShortage, match="TMPDIR"):  # before anything is computed
        check_output_path(tmp_path / "out.gpkg", overwrite=False)


def test_a_link_of_the_user_is_followed(tmp_path) -> None:
    path = vector(tmp_path, "shp")
    folder = tmp_path / "linked"
    folder.symlink_to(tmp_path)
    assert len(read_features(folder / "plain.shp", "PARCELS")) == 1
    shutil.copy(vector(tmp_path, "gpkg"), tmp_path / "real.gpkg")
    (tmp_path / "sym.gpkg").symlink_to(tmp_path / "real.gpkg")
    assert read_features(tmp_path / "sym.gpkg", "PARCELS").name == "sym.gpkg" and path.exists()
    assert pyogrio.list_layers(tmp_path / "real.gpkg").shape == (1, 2)
