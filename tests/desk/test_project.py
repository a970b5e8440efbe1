"""The project folder: beginning, the lock, names that lead out of it."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.desk.fields import field_project
from tunnelsite.core.errors import TunnelsiteError, UsageError
from tunnelsite.desk.map_drawing import MapDrawing
from tunnelsite.desk.project import Project


def test_sample_farm_is_copied_whole_and_can_be_read(tmp_path: Path) -> None:
    project = Project(tmp_path)
    project.begin("sample")
    settings = project.settings()
    assert Path(settings.dem).is_file() and Path(settings.parcels).is_file() and project.units == "ft"
    assert not [file for file in tmp_path.iterdir() if file.suffix == ".py" or "partial" in file.name]


def test_project_that_is_there_is_never_begun_again(tmp_path: Path) -> None:
    project = field_project(tmp_path)
    before = project.text()
    with pytest.raises(UsageError):
        project.begin("sample")
    assert project.text() == before


def test_files_of_the_user_are_never_written_over_by_the_sample(tmp_path: Path) -> None:
    (tmp_path / "dem.tif").write_bytes(b"mine")
    with pytest.raises(TunnelsiteError):
        Project(tmp_path).begin("sample")
    assert (tmp_path / "dem.tif").read_bytes() == b"mine" and not Project(tmp_path).begun


def test_two_desks_on_one_folder_are_refused_in_words(tmp_path: Path) -> None:
    with (
        Project(tmp_path).held(),
        pytest.raises(UsageError, match="another desk") as refused,
        Project(tmp_path).held(),
    ):
        pass
    assert "tabs" in refused.value.expected
    with Project(tmp_path).held():
        pass


@pytest.mark.parametrize("name", ["../other.tif", "/etc/passwd", "a/../../b", "x\0y"])
def test_names_that_lead_out_of_the_folder_are_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises((UsageError, ValueError)):
        Project(tmp_path).inside(name)


def test_link_out_of_the_folder_is_refused(tmp_path: Path) -> None:
    inner = tmp_path / "farm"
    inner.mkdir()
    (tmp_path / "secret.tif").write_bytes(b"x")
    (inner / "link.tif").symlink_to(tmp_path / "secret.tif")
    with pytest.raises(UsageError):
        Project(inner).inside("link.tif")


@pytest.mark.parametrize(
    "new",
    [{"out": "x.gpkg"}, {"dem": "/etc/passwd"}, {"keep_out": ["../a.gpkg@3m"]}, {"service": {"water": "../../w.gpkg"}}],
)
def test_page_can_name_no_file_outside_and_no_output(tmp_path: Path, new: dict) -> None:
    project = field_project(tmp_path)
    before = project.text()
    with pytest.raises(UsageError):
        project.change(new)
    assert project.text() == before


def test_what_was_drawn_and_taken_back_is_no_change(tmp_path: Path) -> None:
    project = field_project(tmp_path)
    drawing = MapDrawing(project)
    before = project.fingerprint(drawing.features)
    tree = {"geometry": {"type": "Point", "coordinates": [-78.15, 43.0]}, "properties": {"what": "tree", "height_m": 9}}
    drawing.put("a-tree", tree)
    corners = [[-78.15, 43.0], [-78.151, 43.0], [-78.151, 43.001]]
    for name, ring in (("one-way", corners), ("the-other", corners[::-1])):
        field = {"geometry": {"type": "Polygon", "coordinates": [[*ring, ring[0]]]}, "properties": {"what": "field"}}
        drawing.put(name, field)
    drawn = project.fingerprint(drawing.features)
    again = MapDrawing(project)
    again.read()
    assert project.fingerprint(again.features) == drawn != before  # written and read is the same
    for name in ("a-tree", "one-way", "the-other"):
        drawing.remove(name)
    assert project.fingerprint(drawing.features) == before
    project.change({"house": ["31x77ft"]})
    assert project.fingerprint(drawing.features) != before
