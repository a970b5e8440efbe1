"""Files that are whole but were changed: by hand in another program, by a colleague, by malice. Used where that makes sense, else
refused in words; never a traceback, whatever stands in a row."""

from __future__ import annotations

import contextlib
import copy
import gzip
import json
import random
import shutil
import sqlite3
import time
from pathlib import Path

import geopandas
import pytest
import shapely

from tests.hosts.commands_that_write import REGION, small_farm
from tests.hosts.screened import refused
from tests.io.mutations import changed
from tests.whole_run.files import NORTH, UTM17, WEST
from tunnelsite.core.errors import TunnelsiteError
from tunnelsite.hosts.cli.main import main
from tunnelsite.io.read.site import site_from
from tunnelsite.io.read.sites_file import read_candidate, read_run
from tunnelsite.io.read.stored import read_layers
from tunnelsite.plans.candidate import kept_settings
from tunnelsite.scan.lamps import add_night_light
from tunnelsite.scan.localise import frame_grid, localised
from tunnelsite.scan.soils import add_soils
from tunnelsite.scan.surface import add_surface
from tunnelsite.screening.option import nominal_bearing
from tunnelsite.settings.model import settings_from

SLOWEST_S = 20.0
ODD = (None, "", "x", -1, 9e999, b"\xff\0")


@pytest.fixture(scope="module")
def farm(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("farm")
    small_farm(folder)
    return folder


def assert_in_words(status: int, said: str) -> None:
    assert status in (0, 2, 3, 4) and "Traceback" not in said
    assert status == 0 or (said.startswith("tunnelsite: ") and said.count("\n") == 1 and "Expected: " in said), said


# --- sites.gpkg: rows edited in a program for maps


def edited(farm: Path, to: Path, statement: str, *values) -> str:
    shutil.copy(farm / "s.gpkg", to)
    with contextlib.closing(sqlite3.connect(to)) as database:
        database.execute("PRAGMA synchronous = OFF")
        for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            database.execute(f'DROP TRIGGER "{name}"')  # they need functions of other programs
        database.execute(statement, values)
        database.commit()
    return str(to)


EDITS = {
    "no rank": ("UPDATE candidates SET rank = NULL WHERE rank = 2", 3, "row 2 of the candidates of e.gpkg has no rank"),
    "rank twice": ("UPDATE candidates SET rank = 1", 3, "has the rank 1 a second time"),
    "rank 0": ("UPDATE candidates SET rank = 0 WHERE rank = 2", 3, "has no rank"),
    "no longitude": ("UPDATE candidates SET lon = NULL", 3, "candidate 1 of e.gpkg has lon nan"),
    "latitude 100": ("UPDATE candidates SET lat = 100", 3, "-90 to 90"),
    "no bearing": ("UPDATE candidates SET bearing_deg = NULL", 3, "bearing_deg nan"),
    "width": ("UPDATE candidates SET width_m = 9e999", 3, "width_m inf"),
    "pads without rank": ("UPDATE pads SET rank = NULL", 0, ""),
    "pads without level": ("UPDATE pads SET level_m = NULL", 0, ""),
    "no bearing in the run table": ("UPDATE run SET name = 'bearing x' WHERE kind = 'grid'", 0, ""),
    "infinite bearing in the run table": ("UPDATE run SET name = 'bearing inf' WHERE kind = 'grid'", 0, ""),
    "no run table": ("DELETE FROM run", 0, ""),
    "a wrong apron in the run table": ("UPDATE run SET value = '-3' WHERE name = 'apron_m'", 2, "apron is '-3'"),
}  # fmt: skip


@pytest.mark.parametrize("name", EDITS)
def test_stakes_of_edited_candidates(farm, tmp_path, capsys, monkeypatch, name) -> None:
    monkeypatch.chdir(farm)
    statement, wanted, words = EDITS[name]
    sites = edited(farm, tmp_path / "e.gpkg", statement)
    out = tmp_path / "o.csv"
    asked = ["stakeout", "dem.tif", "parcels.gpkg", "--sites", sites, "--rank", "1", "--out", str(out)]
    status, said = refused(capsys, *asked)
    assert status == wanted and words in said, said
    assert_in_words(status, said)
    assert out.exists() == (status == 0)


def test_comparing_and_handing_over_edited_candidates(farm, tmp_path, capsys, monkeypatch) -> None:
    monkeypatch.chdir(farm)
    for statement, words in (
        ("UPDATE candidates SET rank = NULL WHERE rank = 2", "no rank"),
        ("UPDATE candidates SET score = NULL WHERE rank = 2", "row 2 of e.gpkg has score nan"),
        ("UPDATE candidates SET score = 9e999 WHERE rank = 2", "score inf"),
    ):
        sites = edited(farm, tmp_path / "e.gpkg", statement)
        for more in (["s.gpkg"], ["--ranks", "1,2"]):
            status = main(["compare", sites, *more, "--json"])
            said = capsys.readouterr().err
            assert status == 3 and words in said
    status, said = refused(capsys, "export", sites, "--to", str(tmp_path / "out"))
    assert status == 3 and "column score holds an infinite number" in said and not (tmp_path / "out").exists()


@pytest.mark.parametrize("table", ["candidates", "pads", "run", "criteria"])
def test_any_value_in_any_column(farm, tmp_path, table) -> None:
    """Everything that later commands take from the file, without their work."""
    with contextlib.closing(sqlite3.connect(farm / "s.gpkg")) as database:
        columns = [row[1] for row in database.execute(f"PRAGMA table_info({table})") if row[1] not in ("fid", "geom")]
    chance = random.Random(table)
    for column in columns:
        value = chance.choice(ODD)
        sites = edited(farm, tmp_path / "e.gpkg", f'UPDATE "{table}" SET "{column}" = ?', value)
        read = chance.choice((_candidate, read_run, read_layers))
        with contextlib.suppress(TunnelsiteError):
            read(sites)


def _candidate(sites: str) -> None:
    found = read_candidate(sites, 1)
    kept_settings(found, {})
    nominal_bearing(found)
    found.pad_number("level_m")


# --- parts of a region


def test_changed_parts_of_a_region(farm, tmp_path, capsys, monkeypatch) -> None:
    """A damaged part is done again; one that is whole but changed is used or refused."""
    monkeypatch.chdir(farm)
    words = [*REGION, "--out", str(tmp_path / "r.gpkg"), "--parts", str(tmp_path / "parts"), "--overwrite"]
    assert refused(capsys, *words)[0] == 0
    path, other = sorted((tmp_path / "parts").glob("*.json.gz"))
    whole = path.read_bytes()
    damaged = bytearray(whole)
    damaged[len(whole) // 2] ^= 4  # in the middle of what is compressed
    path.write_bytes(damaged)
    assert refused(capsys, *words)[0] == 0 and path.read_bytes() == whole
    part, chance, statuses = json.loads(gzip.decompress(whole)), random.Random(3), []
    kept = {name: part.pop(name) for name in ("format", "key")}
    for _ in range(14):
        path.write_bytes(gzip.compress(json.dumps(changed(part, chance) | kept).encode()))
        before = (tmp_path / "r.gpkg").read_bytes()
        status, said = refused(capsys, *words)
        assert_in_words(status, said)
        assert status == 0 or (tmp_path / "r.gpkg").read_bytes() == before
        statuses.append(status)
    assert statuses.count(3) > 3
    assert other.exists()


# --- what stands and lies on a farm


def _layers() -> dict[str, geopandas.GeoDataFrame]:
    def frame(shapes: list, **columns) -> geopandas.GeoDataFrame:
        return geopandas.GeoDataFrame(columns, geometry=shapes, crs=UTM17).to_crs("OGC:CRS84")

    point, line = (
        shapely.Point(WEST + 20, NORTH - 20),
        shapely.LineString([(WEST + 5, NORTH - 50), (WEST + 60, NORTH - 52)]),
    )
    box = shapely.box(WEST + 40, NORTH - 20, WEST + 48, NORTH - 12)
    return {
        "obstacles": frame([point, line, box], height_m=[8.0, 5.5, 6.0], kind=["tree", "tree line", "building"],
                           crown_base_m=[2.0, None, 0.0], deciduous=["yes", "no", ""], radius_m=[3, 2.0, None]),
        "lamps": frame([point, point.buffer(5).centroid], lumens=[4000.0, 8000.0], height_m=[8.0, 5.0]),
        "soils": frame([box, box.buffer(9)], drainage=["Well drained", ""], hydgrp=["A", "B/D"]),
        "structures": frame([box], name=["barn"]),
    }  # fmt: skip


@pytest.mark.parametrize("name", _layers())
def test_changed_features(farm, tmp_path, monkeypatch, name) -> None:
    monkeypatch.chdir(farm)
    path = tmp_path / "f.geojson"
    _layers()[name].to_file(path, driver="GeoJSON")
    whole, chance, refusals = json.loads(path.read_text()), random.Random(name), 0
    for number in range(25):
        path.write_text(json.dumps(changed(whole, chance) if number else copy.deepcopy(whole)))
        started = time.process_time()
        try:
            _read_and_used(name, path)
        except TunnelsiteError as problem:
            assert number and problem.given and problem.expected
            refusals += 1
        assert time.process_time() - started < SLOWEST_S
    assert refusals > 1


def _read_and_used(name: str, path: Path) -> None:
    given = {"dem": "dem.tif", "parcels": "parcels.gpkg", "halo": "5m", name: str(path)}
    settings = settings_from(given)
    site = site_from(settings)
    frame = localised(site, frame_grid(site, bearing_deg=90.0, cell_m=1.0, halo_m=5.0))
    add_surface(frame, settings.bare_transmission)
    add_soils(frame)
    add_night_light(frame)
