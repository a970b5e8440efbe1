"""The command line as a user meets it: real files, and a process of its own wherever the process can matter."""

from __future__ import annotations

import contextlib
import io
import json
import os
import sqlite3
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import rasterio

from tests.whole_run.files import plain_farm
from tunnelsite.hosts.cli.main import main

ROOT = Path(__file__).resolve().parents[3]
FARM = ROOT / "sample_data"


def tunnelsite(*arguments, cwd: Path | None = None, **environment) -> subprocess.CompletedProcess:
    return subprocess.run(
        [sys.executable, "-m", "tunnelsite", *map(str, arguments)],
        capture_output=True,
        text=True,
        cwd=cwd or ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT), **environment},
        timeout=300,
        check=False,
    )


def called(*arguments) -> subprocess.CompletedProcess:
    """The same within this process, which saves starting an interpreter."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        status = main([str(part) for part in arguments])
    return subprocess.CompletedProcess(arguments, status, out.getvalue(), err.getvalue())


def test_what_was_not_assessed_is_null(tmp_path: Path) -> None:
    dem, parcels = plain_farm(tmp_path)
    out = tmp_path / "s.gpkg"
    done = called("screen", dem, parcels, "--house", "6x15m", "--azimuths", 8, "--halo", "5m", "--out", out)
    assert done.returncode == 0, done.stderr
    with sqlite3.connect(out) as database:
        rows = database.execute("select wind_shelter, night_lux, clearance_m, beam_share from candidates").fetchall()
    assert rows and all(row[:3] == (None, None, None) for row in rows)
    assert all(row[3] is not None for row in rows)


def test_json_is_json_and_progress_goes_to_stderr(tmp_path: Path) -> None:
    dem, parcels = plain_farm(tmp_path)
    words = ("--house", "6x15m", "--azimuths", 8, "--out", tmp_path / "s.gpkg", "--top", 3, "--json")
    done = tunnelsite("screen", dem, parcels, *words)
    assert done.returncode == 0, done.stderr
    summary = json.loads(done.stdout)
    assert len(summary["candidates"]) == 3
    assert summary["placements_tried"] > 1000
    assert summary["candidates"][0]["rank"] == 1
    assert "light" in done.stderr


def test_dry_run_computes_and_writes_nothing(tmp_path: Path) -> None:
    out = tmp_path / "s.gpkg"
    done = called("screen", "--project", FARM / "farm.toml", "--out", out, "--dry-run", "--json")
    assert done.returncode == 0, done.stderr
    plan = json.loads(done.stdout)
    assert plan["placements"] > 100_000 and plan["estimated_memory_bytes"] > 0
    assert any("heights are in m" in text for text in plan["assumed"])
    assert not list(tmp_path.iterdir())


def test_existing_output_is_kept(tmp_path: Path) -> None:
    out = tmp_path / "s.gpkg"
    out.write_bytes(b"precious")
    done = called("demo", "--out", out)
    assert done.returncode == 2
    assert "--overwrite" in done.stderr
    assert out.read_bytes() == b"precious"


@pytest.mark.parametrize(
    ("arguments", "status", "words"),
    [
        (["screen"], 2, ["dem"]),
        (["screen", "nowhere.tif", "parcels.gpkg"], 3, ["nowhere.tif", "DEM"]),
        (["screen", FARM / "dem.tif", "nowhere.gpkg"], 3, ["nowhere.gpkg", "parcels"]),
        (["screen", FARM / "dem.tif", FARM / "parcels.gpkg", "--house", "96x30ft"], 2, ["swap"]),
        (["screen", FARM / "dem.tif", FARM / "parcels.gpkg", "--setback", "0,5 m"], 2, ["0.5"]),
        (["screen", FARM / "dem.tif", FARM / "parcels.gpkg", "--lenght", "3"], 2, ["--lenght"]),
        (["screen", FARM / "dem.tif", FARM / "parcels.gpkg", "--service", "water"], 2, ["NAME=FILE"]),
        (["screen", FARM / "dem.tif", FARM / "parcels.gpkg", "--weight", "sunn=2"], 2, ["did you mean 'sun'"]),
        (["screen", FARM / "dem.tif", FARM / "road.gpkg"], 3, ["road.gpkg", "polygon"]),
        (["screen", FARM / "dem.tif", FARM / "parcels.gpkg", "--out", "nowhere/s.gpkg"], 5, ["nowhere", "folder"]),
        (["run", "slop", FARM / "dem.tif", "x.tif"], 2, ["did you mean 'slope'"]),
        (["run", "slope", FARM / "dem.tif", "x.tif", "--set", "as_unit=grad"], 2, ["%"]),
        (["frobnicate"], 2, ["frobnicate"]),
        (["screen", FARM / "parcels.gpkg", FARM / "dem.tif"], 3, ["DEM comes first"]),
        (["screen", FARM / "dem.tif"], 2, ["no parcels were given"]),
        (["grading", FARM / "dem.tif", FARM / "parcels.gpkg", "--house", "30x96ft"], 2, ["leave it out", "`screen`"]),
        (["screen", "--sites", "s.gpkg"], 2, ["`sunchart`"]),
        (["sunchart", FARM / "dem.tif", FARM / "parcels.gpkg", "--rank", "1", "--out", "chart"], 2, [".svg"]),
    ],
)
def test_exit_status_and_message(tmp_path: Path, monkeypatch, arguments: list, status: int, words: list[str]) -> None:
    monkeypatch.chdir(tmp_path)
    done = called(*arguments)
    assert done.returncode == status, done.stderr
    for word in words:
        assert word in done.stderr
    assert "Traceback" not in done.stderr
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("arguments", "status"),
    [
        (["screen", FARM / "dem.tif", FARM / "parcels.gpkg", "--lenght", "3"], 2),
        (["screen", "nowhere.tif", "parcels.gpkg"], 3),
        (["screen", FARM / "dem.tif", FARM / "parcels.gpkg", "--out", "nowhere/s.gpkg"], 5),
    ],
)
def test_the_process_ends_with_the_status_and_the_message_of_the_call(
    tmp_path: Path, monkeypatch, arguments: list, status: int
) -> None:
    done = tunnelsite(*arguments, cwd=tmp_path)
    monkeypatch.chdir(tmp_path)
    expected = called(*arguments)
    assert (done.returncode, done.stdout, done.stderr) == (status, expected.stdout, expected.stderr)
    assert expected.returncode == status and not list(tmp_path.iterdir())


def test_run_slope_on_its_own(tmp_path: Path) -> None:
    out = tmp_path / "slope.tif"
    done = called("run", "slope", FARM / "dem.tif", out, "-q")
    assert done.returncode == 0, done.stderr
    with rasterio.open(out) as file, rasterio.open(FARM / "dem.tif") as dem:
        assert file.shape == dem.shape and file.transform == dem.transform
        slope = file.read(1)
        assert file.units[0] == "%"
    assert np.isnan(slope[0]).all() and np.isnan(slope[:, -1]).all()  # incomplete windows
    assert 0 < np.nanmedian(slope) < 20


@pytest.mark.parametrize("name", ["aspect", "hillshade", "filled_ground", "contributing_area", "level_patches"])
def test_every_process_runs_on_its_own(tmp_path: Path, name: str) -> None:
    done = called("run", name, FARM / "dem.tif", tmp_path / "out.tif", "-q")
    assert done.returncode == 0, done.stderr
    with rasterio.open(tmp_path / "out.tif") as file:
        assert np.isfinite(file.read(1)).any()


def test_overviews_of_aspect_hold_directions_that_are_there(tmp_path: Path) -> None:
    """The mean of two directions either side of north points south."""
    assert called("run", "aspect", FARM / "dem.tif", tmp_path / "aspect.tif").returncode == 0
    with (
        rasterio.open(tmp_path / "aspect.tif") as whole,
        rasterio.open(tmp_path / "aspect.tif", overview_level=0) as half,
    ):
        cells, coarse = whole.read(1), half.read(1)
    assert np.isin(coarse[np.isfinite(coarse)], cells).all() and len(np.unique(coarse)) > 1000


def test_place_and_north_come_from_the_raster(tmp_path: Path) -> None:
    """A time needs a place, and azimuths count from true north: both from the raster where they are not given."""
    out, asked = tmp_path / "shadow.tif", ["--set", "when_utc=2027-12-21T14:00Z"]
    done = called("run", "cast_shadow", FARM / "dem.tif", out, *asked)
    assert done.returncode == 0, done.stderr
    assert "latitude_deg = 43.0" in done.stderr and "longitude_deg = -78.1" in done.stderr
    assert "bearing_deg = 91.94" in done.stderr  # atan(tan(dlon) sin(lat)), dlon = 2.85 deg
    with rasterio.open(out) as file:
        shadow = file.read(1)
    assert set(np.unique(shadow[np.isfinite(shadow)])) == {0.0, 1.0}
    given = tmp_path / "given.tif"
    more = ["--set", "latitude_deg=43.006624", "--set", "longitude_deg=-78.147309", "--set", "bearing_deg=91.946641"]
    done = called("run", "cast_shadow", FARM / "dem.tif", given, *asked, *more)
    assert done.returncode == 0 and "bearing_deg" not in done.stderr
    with rasterio.open(given) as file:
        assert np.nanmean(file.read(1) != shadow, where=np.isfinite(shadow)) < 1e-3
    done = called("run", "season_light", FARM / "dem.tif", tmp_path / "l.tif", "--crop-months", "12-01:12-31")
    assert done.returncode == 0 and "bearing_deg = 91.94" in done.stderr
    done = called("run", "cast_shadow", FARM / "dem.tif", tmp_path / "x.tif", "--set", "when_utc=noon")
    assert done.returncode == 2 and "2027-12-21T17:00Z" in done.stderr and not (tmp_path / "x.tif").exists()


def test_processes_are_listed() -> None:
    done = called("processes")
    assert done.returncode == 0
    for name in (
        "slope",
        "aspect",
        "hillshade",
        "filled_ground",
        "contributing_area",
        "season_light",
        "cast_shadow",
        "hillshade_shadowed",
    ):
        assert f"{name}:" in done.stdout


def test_help_is_quick_and_imports_nothing_heavy() -> None:
    code = (
        "import sys; from tunnelsite.hosts.cli.options import parser; parser();"
        "heavy = {'numpy', 'numba', 'rasterio', 'geopandas', 'pvlib', 'xarray', 'pandas', 'dask'} & set(sys.modules); print(sorted(heavy))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True)
    assert done.stdout.strip() == "[]"


def test_filled_ground_keeps_its_height_above_the_sea(tmp_path: Path) -> None:
    """Inside, heights count from a datum near the ground's own; a file is never written so."""
    assert called("run", "filled_ground", FARM / "dem.tif", tmp_path / "filled.tif").returncode == 0
    with rasterio.open(tmp_path / "filled.tif") as made, rasterio.open(FARM / "dem.tif") as dem:
        raised = made.read(1) - dem.read(1)
    assert np.nanmin(raised) > -1e-3 and np.nanmedian(raised) < 1e-3
