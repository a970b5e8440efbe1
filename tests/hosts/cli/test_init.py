"""`init`: a project file from the data in a folder; what it writes is what a screening takes."""

from __future__ import annotations

import io
import json
import shutil
import sys
from pathlib import Path

import pytest

from tests.whole_run.files import plain_farm
from tunnelsite.desk.proposal import project_text, propose
from tunnelsite.hosts.cli.main import main
from tunnelsite.settings.project_file import project_settings


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    plain_farm(tmp_path)
    shutil.copy(tmp_path / "parcels.gpkg", tmp_path / "wetland.gpkg")
    (tmp_path / "notes.txt").write_text("x")
    (tmp_path / "broken.tif").write_bytes(b"II*\0broken")
    return tmp_path


def test_files_are_proposed_by_what_they_are(folder: Path) -> None:
    made = propose(folder)
    assert {one.name: one.role for one in made.files} == {
        "broken.tif": None, "dem.tif": "dem", "parcels.gpkg": "parcels", "wetland.gpkg": "keep_out",
    }  # fmt: skip
    assert not made.missing and made.settings["keep_out"] == ["wetland.gpkg"]


def test_yes_writes_what_a_screening_takes(folder: Path, capsys: pytest.CaptureFixture) -> None:
    assert main(["init", str(folder), "--yes", "--json", "--house", "20x48ft,6x12m", "--wind-from", "NW"]) == 0
    assert json.loads(capsys.readouterr().out)["missing"] == []
    found = project_settings(folder / "farm.toml")[0]
    assert found["house"] == ["20x48ft", "6x12m"] and found["wind_from"] == "NW"
    assert "# " in (folder / "farm.toml").read_text()
    assert main(["check", "--project", str(folder / "farm.toml")]) == 0


def test_what_is_not_given_is_said(folder: Path, capsys: pytest.CaptureFixture) -> None:
    assert main(["init", str(folder), "--yes"]) == 0
    said = capsys.readouterr().out
    assert "not given: no surface model, trees or buildings: nothing but the ground shades the house" in said
    assert "no structures" in said and "no keep-outs" not in said


def test_answers_are_taken_and_wrong_ones_asked_again(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    said = ["none", "", "barn", "parcels", "keep_out", "10 ft", "30x96", "30x96ft", "container", "", "", "", ""]
    monkeypatch.setattr(sys, "stdin", io.StringIO("\n".join(said) + "\n"))
    assert main(["init", str(folder)]) == 0
    found = project_settings(folder / "farm.toml")[0]
    assert found["kind"] == "container" and found["house"] == ["30x96ft"]
    assert Path(found["keep_out"][0]).name == "wetland.gpkg@10ft"


def test_an_old_project_file_stays(folder: Path) -> None:
    (folder / "farm.toml").write_text("mine")
    assert main(["init", str(folder), "--yes"]) == 2
    assert (folder / "farm.toml").read_text() == "mine"
    assert main(["init", str(folder), "--yes", "--house", "no size", "--overwrite"]) == 2
    assert (folder / "farm.toml").read_text() == "mine"


def test_an_empty_folder_says_what_is_missing(tmp_path: Path, capsys: pytest.CaptureFixture) -> None:
    assert main(["init", str(tmp_path), "--yes"]) == 0
    assert "missing: a terrain model" in capsys.readouterr().out


def test_names_with_quotes_come_back(tmp_path: Path) -> None:
    made = propose(tmp_path)
    made.settings["dem"] = 'a "b" \\ c\n\t.tif'
    (tmp_path / "farm.toml").write_text(project_text(made, {}), "utf-8")
    assert Path(project_settings(tmp_path / "farm.toml")[0]["dem"]).name == 'a "b" \\ c\n\t.tif'
