"""A region: the same bytes whatever the tiles, the workers, the order and the breaks; troubles of one farm stay with it."""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import geopandas
import numba
import numpy as np
import psutil
import pyogrio
import pytest
import rasterio

from tests.region import endless, small_tiles
from tests.region.farms import ASKED, ground, region_files, tile
from tests.running import has_ended
from tests.whole_run.files import NORTH, UTM17, WEST, write_dem
from tunnelsite import read_site, screen
from tunnelsite.core.errors import InputRefused
from tunnelsite.hosts.cli.main import main
from tunnelsite.io.read.mosaic import mosaic, read_mosaic
from tunnelsite.io.read.raster_reading import RasterReading
from tunnelsite.io.write.staging import OutputExists
from tunnelsite.region import drainage, worker_pool
from tunnelsite.region.inputs import read_region
from tunnelsite.region.partitions import Partitions
from tunnelsite.region.screened import planned
from tunnelsite.region.tasks import RegionPlan
from tunnelsite.settings.model import settings_from

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module", autouse=True)
def _one_time():
    """One time of all runs; tiles so small that there are many, and one thread, which is faster for them."""
    threads = numba.get_num_threads()
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SOURCE_DATE_EPOCH", "1790000000")
        patch.setattr(drainage, "TILE", small_tiles.TILE)
        patch.setattr(worker_pool.os, "cpu_count", lambda: 1)
        yield
    numba.set_num_threads(threads)


@pytest.fixture(scope="module")
def files(tmp_path_factory) -> tuple[Path, Path]:
    return region_files(tmp_path_factory.mktemp("region"))


def go(folder: Path, dem: Path, parcels: Path, *words: str) -> dict[str, str]:
    """Run it; SHA-256 of what was written, by name."""
    folder.mkdir(exist_ok=True)
    out = ["--out", str(folder / "r.gpkg"), "-q"]
    assert main(["region", str(dem), str(parcels), *ASKED, *out, *words]) == 0
    return sums(folder)


def sums(folder: Path) -> dict[str, str]:
    return {
        path.name: hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.glob("r*.*"))
        if path.is_file()
    }


@pytest.fixture(scope="module")
def told(files, tmp_path_factory) -> tuple[Path, dict[str, str], str]:
    folder, said = (
        tmp_path_factory.mktemp("whole") / "out",
        io.StringIO(),
    )  # as deep as the others: the file names its inputs
    with contextlib.redirect_stdout(said):
        written = go(folder, *files, "--workers", "0")
    return folder, written, said.getvalue()


@pytest.fixture(scope="module")
def whole(told) -> tuple[Path, dict[str, str]]:
    return told[:2]


def test_a_region_is_repeated_from_its_own_file(whole, capsys) -> None:
    """Plan and settings as then, so the same answer; what is asked otherwise is said; a single screening does not repeat it."""
    folder, _ = whole
    first = str(folder / "r.gpkg")
    assert main(["region", "--again", first, "--workers", "0", "-q", "--json"]) == 0
    again = json.loads(capsys.readouterr().out)["again"]
    assert again["same"] and not any(again[name] for name in ("versions", "inputs", "settings"))
    one, two = (pyogrio.read_dataframe(folder / f"{name}.gpkg", layer="parcels") for name in ("r", "r-again"))
    assert (
        one.equals(two) and (folder / "r-again-groups.svg").exists() and (folder / "r-again-suitability.tif").exists()
    )
    words = [
        "--top",
        "1",
        "--group-by",
        "acres",
        "--out",
        str(folder / "q.gpkg"),
        "--parts",
        str(folder / "r-again.parts"),
    ]
    assert main(["region", "--again", first, *words, "--workers", "0", "-q"]) == 0
    said = capsys.readouterr().out
    assert (
        "setting top: then 3, now 1" in said
        and "setting group_by: then town, now acres" in said
        and "Not the same" in said
    )
    assert main(["screen", "--again", first, "-q"]) == 2
    assert "`region --again` repeats the region" in capsys.readouterr().err


def test_notes_are_whole_and_told(told) -> None:
    folder, _, said = told
    run = pyogrio.read_dataframe(folder / "r.gpkg", layer="run")
    notes = run.loc[run["kind"] == "note", "value"].tolist()
    assert any(
        "correlated over" in note and note.endswith("state them") for note in notes
    )  # one note, though it holds a `;`
    assert all(f"note: {note}" in said for note in notes[:10])


def test_layers_and_counts(whole) -> None:
    folder, _ = whole
    layers = {name for name, _ in pyogrio.list_layers(folder / "r.gpkg")}
    assert layers >= {"candidates", "pads", "rejections", "parcels", "criteria", "tasks", "run"}
    candidates = pyogrio.read_dataframe(folder / "r.gpkg", layer="candidates")
    assert candidates["rank"].tolist() == list(range(1, len(candidates) + 1))
    assert candidates.score.is_monotonic_decreasing
    assert candidates.groupby("parcel").size().max() == 3 and candidates.rank_in_parcel.max() == 3
    parcels = pyogrio.read_dataframe(folder / "r.gpkg", layer="parcels").set_index("parcel")
    assert len(parcels) == 12 and set(parcels.index[parcels.state == "no data"]) == {"far off", "just off"}
    assert "do not meet" in parcels.reason["far off"] and np.isnan(parcels.best_score["far off"])
    assert "no height" in parcels.reason["just off"] and np.isnan(
        parcels.feasible_6x15m["just off"]
    )  # nothing is known there
    assert set(parcels.town) == {"Elm", "Fir"} and set(parcels.acres) == {2.5} and set(parcels.own_State) == {"mapped"}
    known = parcels[parcels.state == "screened"]
    assert (
        (known.known_pct > 0).all()
        and known.known_pct.max() == 100
        and not (parcels.known_pct[parcels.state == "no data"] > 0).any()
    )
    assert (known.feasible_6x15m == (known.passed > 0)).all() and (known.options_6x15m == known.candidates).all()
    roomy = known[known.passed > 0]
    assert (roomy.centres_m2 < roomy.footprints_m2_6x15m).all() and (
        roomy.footprints_m2_6x15m < roomy.pads_m2_6x15m
    ).all()
    assert (roomy.pads_m2_6x15m <= roomy.area + 1e-6).all() and roomy.best_score_6x15m.equals(roomy.best_score)
    groups = pyogrio.read_dataframe(folder / "r.gpkg", layer="groups").set_index("group")
    assert groups.parcels.tolist() == [6, 6] and groups.screened.sum() == 10 and (folder / "r-groups.svg").exists()
    assert groups.feasible["Elm"] == known.feasible_6x15m[known.town == "Elm"].sum()
    best = candidates.groupby("parcel").score.max()
    for name, value in best.items():
        assert parcels.best_score[name] == pytest.approx(value, abs=1e-4)
    some = parcels[parcels.passed > 0]
    assert (some.score_q05 <= some.score_q50).all() and (some.score_q95 <= some.best_score + 1e-9).all()
    with rasterio.open(folder / "r-suitability.tif") as raster:
        values = raster.read(1, masked=True)
        assert raster.res == (10.0, 10.0) and float(values.max()) == pytest.approx(best.max(), abs=1e-4)
        # the best candidate's centre lies in a block of at least its score
        first = candidates.to_crs(UTM17).geometry.iloc[0].centroid
        assert float(values[raster.index(first.x, first.y)]) >= candidates.score.iloc[0] - 1e-3
    manifest = json.loads((folder / "r-manifest.json").read_text())
    assert {task["state"] for task in manifest["tasks"]} == {"screened", "no data"}
    assert not any(str(folder) in text for text in json.dumps(manifest).split('"'))


@pytest.mark.parametrize("shape", [(64, 110, 5)])
def test_tiles_do_not_matter(files, whole, tmp_path: Path, shape) -> None:
    """Only what says which files were read differs."""
    high, wide, overlap = shape
    tiles = tile(tmp_path / "dem.tif", ground(), high, wide, overlap)
    go(tmp_path / "out", tiles, files[1], "--workers", "0")
    for layer in ("candidates", "pads", "rejections", "parcels", "criteria"):
        one, two = (pyogrio.read_dataframe(folder / "r.gpkg", layer=layer) for folder in (whole[0], tmp_path / "out"))
        columns = [name for name in one.columns if name != "reason"]
        assert one[columns].equals(two[columns]), layer
    assert sums(tmp_path / "out")["r-suitability.tif"] == whole[1]["r-suitability.tif"]


def test_workers_do_not_matter_and_a_killed_run_goes_on(files, whole, tmp_path: Path) -> None:
    pytest.importorskip("distributed")
    folder = tmp_path / "out"
    folder.mkdir()
    words = ["region", *map(str, files), *ASKED, "--out", str(folder / "r.gpkg"), "--workers", "1", "-q"]
    words.append("--partitions")
    running = subprocess.Popen(
        [sys.executable, "-m", "tests.region.small_tiles", *words],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        start_new_session=True,
        stderr=subprocess.DEVNULL,
    )
    parts = folder / "r.parts"
    until = time.monotonic() + 240
    while len(list(parts.glob("*.json.gz"))) < 2 and running.poll() is None and time.monotonic() < until:
        time.sleep(0.02)
    os.killpg(running.pid, signal.SIGKILL)
    running.wait()
    done = {path.name: path.stat().st_mtime_ns for path in parts.glob("*.json.gz")}
    assert len(done) >= 2 and not (folder / "r.gpkg").exists()
    written = (folder / "r-partitions" / "candidates").glob("[!.]*.parquet")  # one may have been half written
    streamed = {path.stem for path in written}
    assert len(streamed) >= len(done) - 1 and streamed <= {name.split(".")[0] for name in done}
    victim = parts / sorted(done)[0]
    victim.write_bytes(victim.read_bytes()[:-20])  # as a machine that lost power leaves it
    gone = folder / "r-partitions" / "parcels" / f"{sorted(streamed)[0]}.parquet"
    gone.unlink(missing_ok=True)  # the run may have ended between the two layers
    assert go(folder, *files, "--workers", "2", "--partitions") == whole[1]
    check_partitions(folder)
    again = {path.name: path.stat().st_mtime_ns for path in parts.glob("*.json.gz")}
    kept = set(done) - {victim.name}
    assert all(again[name] == done[name] for name in kept) and again[victim.name] != done[victim.name]


def test_ctrl_c_ends_the_workers_and_the_same_command_goes_on(files, whole, tmp_path: Path) -> None:
    pytest.importorskip("distributed")
    folder, scratch = tmp_path / "out", tmp_path / "scratch"
    folder.mkdir()
    scratch.mkdir()
    words = ["region", *map(str, files), *ASKED, "--out", str(folder / "r.gpkg"), "--workers", "2", "-q"]
    parts = folder / "r.parts"
    running = subprocess.Popen(
        [sys.executable, "-m", "tests.region.endless", *words],
        env={**os.environ, "PYTHONPATH": str(ROOT), "TMPDIR": str(scratch), endless.FOLDER: str(parts)},
        start_new_session=True,
        stderr=subprocess.PIPE,
        text=True,
    )
    until = time.monotonic() + 240
    while len(list(parts.glob("*.json.gz"))) < endless.KEPT and running.poll() is None and time.monotonic() < until:
        time.sleep(0.02)
    group = [running.pid, *(child.pid for child in psutil.Process(running.pid).children(recursive=True))]
    os.killpg(running.pid, signal.SIGINT)  # as a terminal does, to the workers too
    _, said = running.communicate(timeout=60)  # how fast it is: tests/hosts/cli/test_interruption.py
    assert running.returncode == 130, said
    kept = f"finished tasks are kept in {parts}; the same command goes on from there"
    assert said == f"tunnelsite: interrupted; {kept}.\n"
    assert len(group) > 2 and all(map(has_ended, group))
    assert [path.name for path in folder.iterdir()] == ["r.parts"] and not list(scratch.iterdir())
    done = {path.name: path.stat().st_mtime_ns for path in parts.glob("*.json.gz")}
    assert len(done) >= 2
    assert go(folder, *files, "--workers", "0") == whole[1]
    assert all((parts / name).stat().st_mtime_ns == written for name, written in done.items())


def check_partitions(folder: Path) -> None:
    """All partitions of a layer, read as one, are what the GeoPackage holds, but for the rank over the region."""
    for layer, order in (("candidates", ["parcel", "rank_in_parcel"]), ("parcels", ["parcel"])):
        found = geopandas.read_parquet(folder / "r-partitions" / layer)
        expected = pyogrio.read_dataframe(folder / "r.gpkg", layer=layer)
        if layer == "parcels":
            without = expected[~expected.parcel.isin(found.parcel)]
            assert set(without.state) <= {"no data", "failed"}  # of tasks wholly off the DEM, or that failed
            expected = expected.drop(without.index)
        found, expected = (table.sort_values(order).reset_index(drop=True) for table in (found, expected))
        assert found.crs == expected.crs and "rank" not in found.columns
        assert found.geometry.geom_equals(expected.geometry).all()
        for name in set(expected.columns) - {"rank", "geometry"}:
            one, two = found[name], expected[name]
            assert (one.isna() == two.isna()).all() and (one.dropna().to_numpy() == two.dropna().to_numpy()).all(), name


def test_partitions_of_another_run_are_not_mixed_in(files, tmp_path: Path) -> None:
    settings = settings_from({"dem": str(files[0]), "parcels": str(files[1])})
    region = read_region(settings)
    tasks, _ = planned(region, settings, RegionPlan(150.0))
    other = tmp_path / "candidates" / "other.parquet"
    other.parent.mkdir()
    other.write_text("x")
    with pytest.raises(OutputExists, match=r"other\.parquet"):
        Partitions(tmp_path, region, ["6x15m"], overwrite=False).begin(tasks)
    assert other.exists()
    Partitions(tmp_path, region, ["6x15m"], overwrite=True).begin(tasks)
    assert not other.exists()


def test_a_parcel_alone_is_a_screening_of_it(files, tmp_path: Path) -> None:
    """With --group-size 0 every parcel is its own farm, and with --drainage halo it knows no more than a screening does."""
    boxes = geopandas.read_file(files[1])
    some = boxes.iloc[[0, 4]]
    some.to_file(tmp_path / "two.gpkg")
    words = [*ASKED[:8], "--group-size", "0m", "--workers", "0", "--top", "2", "--out", str(tmp_path / "r.gpkg"), "-q"]
    words += ["--drainage", "halo"]
    assert main(["region", str(files[0]), str(tmp_path / "two.gpkg"), *words]) == 0
    found = pyogrio.read_dataframe(tmp_path / "r.gpkg", layer="candidates")
    for k, name in enumerate(some.parcel):
        some.iloc[[k]].to_file(tmp_path / f"one{k}.gpkg")
        given = {"house": "6x15m", "azimuths": 8, "halo": "15m", "top": 2, "crop_months": "12-01:12-31"}
        site = read_site(str(files[0]), str(tmp_path / f"one{k}.gpkg"), reading=RasterReading(halo_m=15.0))
        result = screen(site, settings=settings_from(given))
        mine = found[found.parcel == name]
        assert mine.score.tolist() == [row["score"] for row in result.rows]
        assert mine.lon.tolist() == [row["lon"] for row in result.rows]


def test_anything_that_matters_makes_another_task(files) -> None:
    def keys(plan=None, **more) -> set[str]:
        settings = settings_from({"dem": str(files[0]), "parcels": str(files[1])} | more)
        tasks, _ = planned(read_region(settings), settings, plan or RegionPlan(150.0))
        assert sorted(k for task in tasks for k in task.parcels.tolist()) == list(range(12))
        return {task.key for task in tasks}

    first = keys()
    assert first == keys(out="elsewhere.gpkg", overwrite=True)
    others = [
        keys(weight={"sun": 9.0}),
        keys(house="6x12m"),
        keys(structures=str(files[1])),
        keys(RegionPlan(150.0, top=9)),
    ]
    assert not any(first & other for other in others)


def test_dry_run_and_refusals(files, tmp_path: Path, capsys) -> None:
    words = ["region", *map(str, files), *ASKED, "--out", str(tmp_path / "r.gpkg")]
    assert main([*words, "--dry-run", "--json"]) == 0
    plan = json.loads(capsys.readouterr().out)
    assert (
        plan["parcels"] == 12
        and plan["tasks"] > 3
        and plan["processor_seconds"] > 0
        and plan["cells"] <= 240 * 330 * plan["tasks"]
        and not list(tmp_path.iterdir())
    )
    assert plan["drainage"] == "all" and plan["hours"] > plan["drainage_hours"] > 0 and plan["drainage_disk_bytes"] > 0
    assert main([*words, "--dry-run", "--group-by", "townshp"]) == 2  # as the run itself
    assert "--group-by townshp" in capsys.readouterr().err
    assert main([*words, "--dry-run", "--json", "--drainage", "halo"]) == 0
    less = json.loads(capsys.readouterr().out)
    assert less["hours"] == pytest.approx(plan["hours"] - plan["drainage_hours"]) and less["drainage_hours"] == 0
    for more in (
        ["--workers", "-1"],
        ["--group-size", "-3m"],
        ["--top", "0"],
        ["--scheduler", "tcp://127.0.0.1:9", "--workers", "2"],
    ):
        assert main([*words, *more, "-q"]) == 2
    assert (
        main(["region", str(tmp_path), str(files[1]), "--out", str(tmp_path / "r.gpkg"), "-q", "--workers", "0"]) == 3
    )
    assert "holds no raster" in capsys.readouterr().err


def test_tiles_that_do_not_fit_are_refused(tmp_path: Path) -> None:
    from rasterio.transform import Affine

    heights = (ground()[:50, :50] * 10).astype(np.int16)
    for name, change in {
        "crs": {"crs": "EPSG:32618"},
        "cell": {"transform": Affine(2, 0, WEST + 50, 0, -2, NORTH)},
        "lattice": {"transform": Affine(1, 0, WEST + 50.5, 0, -1, NORTH)},
        "nodata": {"nodata": 0},
        "numbers": {"heights": heights.astype(np.float32)},
    }.items():
        folder = tmp_path / name
        folder.mkdir()
        write_dem(folder / "a.tif", heights, Affine(1, 0, WEST, 0, -1, NORTH), UTM17, nodata=-9999)
        given = {
            "heights": heights,
            "transform": Affine(1, 0, WEST + 50, 0, -1, NORTH),
            "crs": UTM17,
            "nodata": -9999,
        } | change
        write_dem(folder / "b.tif", given.pop("heights"), given.pop("transform"), given.pop("crs"), **given)
        with pytest.raises(InputRefused, match=r"b\.tif"):
            mosaic(str(folder))


def test_tiles_with_other_no_data_values_are_one_raster(tmp_path: Path) -> None:
    """-9999, 0, NaN, none: each tile's own holds for it alone; a real height of 0 in a tile that says -9999 stays one."""
    from rasterio.transform import Affine

    heights, wanted = ground()[:50, :50] - np.float32(ground()[0, 0]), []
    for number, value in enumerate((-9999, 0, np.nan, None)):
        part = heights + np.float32(3.0)
        part[10:20, 5 + number : 30] = np.nan
        part[30, 30] = 0.0
        wanted.append(part.copy())
        if value == 0:
            wanted[-1][30, 30] = np.nan
        part[np.isnan(part)] = np.nan if value is None else value
        write_dem(
            tmp_path / f"{number}.tif", part, Affine(1, 0, WEST + 50 * number, 0, -1, NORTH), UTM17,
            **({} if value is None else {"nodata": value}),
        )  # fmt: skip
    tiles = mosaic(str(tmp_path))
    assert any(
        "no-data values (-9999.0, 0.0, nan, none): each tile's own was used" in note for note in tiles.whole.notes
    )
    found = read_mosaic(tiles, (WEST, NORTH - 50, WEST + 200, NORTH), zero_is_nodata=False)
    np.testing.assert_array_equal(np.isnan(found.values), np.isnan(np.hstack(wanted)))
    np.testing.assert_allclose(found.values + np.float32(found.datum_m), np.hstack(wanted), atol=1e-5)


def test_overlaps_that_differ_are_said(tmp_path: Path) -> None:
    from rasterio.transform import Affine

    heights = ground()[:50, :50]
    write_dem(tmp_path / "a.tif", heights, Affine(1, 0, WEST, 0, -1, NORTH), UTM17)
    write_dem(tmp_path / "b.tif", heights + np.float32(0.25), Affine(1, 0, WEST + 25, 0, -1, NORTH), UTM17)
    (tmp_path / "notes.txt").write_text("not a raster")
    found = read_mosaic(mosaic(str(tmp_path)), (WEST, NORTH - 50, WEST + 75, NORTH))
    assert found.shape == (50, 75)
    assert any("overlap and differ there by up to" in note for note in found.notes)
    assert np.array_equal(found.values[:, :50] + found.datum_m, heights)
