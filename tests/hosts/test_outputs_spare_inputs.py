"""No output may take the place of an input or of another output, whatever `--overwrite` says."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

import pytest

from tests.whole_run.files import plain_farm
from tunnelsite.hosts.cli.main import main

QUICK = ("--house", "6x15m", "--azimuths", "8", "--halo", "5m", "-q", "--overwrite")


@pytest.fixture
def farm(tmp_path: Path) -> Path:
    plain_farm(tmp_path)
    os.rename(tmp_path / "dem.tif", tmp_path / "ground.tif")
    (tmp_path / "parcels.gpkg").rename(tmp_path / "land.gpkg")
    return tmp_path


def _sums(folder: Path) -> dict[str, str]:
    return {str(p): hashlib.sha256(p.read_bytes()).hexdigest() for p in sorted(folder.rglob("*")) if p.is_file()}


@pytest.mark.parametrize(
    "words",
    [
        ("--out", "land.gpkg"),
        ("--out", "./land.gpkg"),
        ("--out", "s.gpkg", "--rasters", "."),
        ("--out", "s.gpkg", "--keep", "ground.tif"),
        ("--out", "s.gpkg", "--keep", "s.gpkg"),
        ("--out", "s.shp"),
        ("--out", "s.gpkg", "--rasters", "ground.tif"),
        ("--out", "s.gpkg", "--rasters", "ground.tif/deeper"),
        ("--out", "hard.gpkg"),
        ("--out", "soft.gpkg"),
    ],
)
@pytest.mark.parametrize("dry", [False, True])
def test_screening_refuses_before_it_reads(farm: Path, monkeypatch, capsys, words, dry) -> None:
    monkeypatch.chdir(farm)
    os.link("land.gpkg", "hard.gpkg")
    os.symlink("land.gpkg", "soft.gpkg")
    before = _sums(farm)
    status = main(["screen", "ground.tif", "land.gpkg", *QUICK, *words, *(["--dry-run"] if dry else [])])
    said = capsys.readouterr().err
    assert status in (2, 5) and "Expected" in said and "Traceback" not in said
    assert _sums(farm) == before


def test_other_commands_refuse_too(farm: Path, monkeypatch, capsys) -> None:
    monkeypatch.chdir(farm)
    assert main(["screen", "ground.tif", "land.gpkg", *QUICK, "--out", "s.gpkg", "--keep", "k.npz", "--top", "2"]) == 0
    os.symlink("k.npz", "k.gpkg")
    before = _sums(farm)
    capsys.readouterr()
    asked = [
        ["run", "slope", "ground.tif", "ground.tif", "--overwrite"],
        ["rescore", "k.npz", "--out", "k.gpkg", "--overwrite"],
        ["rescore", "k.npz", "--out", "k.npz", "--overwrite"],
        ["layout", "ground.tif", "land.gpkg", "--houses", "2", "--house", "6x15m", "--out", "land.gpkg", "--overwrite"],
        ["grading", "ground.tif", "land.gpkg", "--sites", "s.gpkg", "--rank", "1", "--out", "s.gpkg", "--overwrite"],
        ["stakeout", "ground.tif", "land.gpkg", "--sites", "s.gpkg", "--rank", "1", "--out", "s.gpkg", "--overwrite"],
        [
            "sunchart",
            "ground.tif",
            "land.gpkg",
            "--sites",
            "s.gpkg",
            "--rank",
            "1",
            "--out",
            "land.gpkg",
            "--overwrite",
        ],
    ]
    for words in asked:
        assert main([*words]) == 2, words
        assert "Expected" in capsys.readouterr().err
    assert _sums(farm) == before


def test_a_new_folder_of_rasters_is_made_and_filled(farm: Path, monkeypatch) -> None:
    monkeypatch.chdir(farm)
    words = [*QUICK, "--out", "s.gpkg", "--rasters", "new/deep"]
    assert main(["screen", "ground.tif", "land.gpkg", *words, "--dry-run"]) == 0
    assert not (farm / "new").exists()
    assert main(["screen", "ground.tif", "land.gpkg", *words]) == 0
    made = {path.name for path in (farm / "new/deep").iterdir()}
    assert {"ground.tif", "ground.sld", "beam_share.tif"} <= made
    assert not any(name.startswith(".") for name in made)
    words.remove("--overwrite")
    (farm / "s.gpkg").unlink()
    assert main(["screen", "ground.tif", "land.gpkg", *words]) == 2  # every raster is looked at, not just the first


def test_a_refused_run_leaves_no_empty_folder(farm: Path, monkeypatch) -> None:
    """A house wider than the land is refused after the folder was made; one that was there before stays, with what it holds."""
    monkeypatch.chdir(farm)
    refused = ["screen", "ground.tif", "land.gpkg", "--cell", "12m", "--house", "6x15m", "--out", "t.gpkg", "-q"]
    assert main([*refused, "--rasters", "gone/deeper"]) == 3
    assert not (farm / "gone").exists()
    (farm / "kept").mkdir()
    assert main([*refused, "--rasters", "kept"]) == 3
    assert main([*refused, "--rasters", "kept/deeper"]) == 3
    assert (farm / "kept").is_dir() and not any((farm / "kept").iterdir())


def test_a_dry_run_refuses_what_the_run_would(farm: Path, monkeypatch, capsys) -> None:
    monkeypatch.chdir(farm)
    words = ["screen", "ground.tif", "land.gpkg", "--cell", "12m", "--out", "t.gpkg", "--house", "6x15m", "-q"]
    assert main([*words, "--dry-run"]) == main(words) == 3
    assert "wider than a house" in capsys.readouterr().err


def test_a_file_that_a_parameter_names_is_an_input(farm: Path, monkeypatch, capsys) -> None:
    monkeypatch.chdir(farm)
    (farm / "clay.gpkg").write_bytes(b"clay")
    (farm / "farm.toml").write_text('[parameter.clay]\nraster = "clay.gpkg"\n')
    words = ["screen", "ground.tif", "land.gpkg", "--project", "farm.toml", "--out", "clay.gpkg", *QUICK]
    assert main(words) == 2
    assert "is also an input" in capsys.readouterr().err and (farm / "clay.gpkg").read_bytes() == b"clay"
