"""The headings of the sheet tell what was given, by file or by hand, and what was not."""

from __future__ import annotations

import pytest

from tests.desk.fields import field_project
from tunnelsite.desk.sheet import headings


@pytest.mark.parametrize(
    ("drawn", "line", "state"),
    [
        (set(), "nothing given yet; not given: ", "empty"),
        ({"field"}, "nothing given yet; not given: ", "empty"),
        ({"field", "building"}, "buildings (drawn); not given: what stands on the ground, trees, keep-outs,", "ok"),
        (
            {"tree", "wall", "road"},
            "trees (drawn), services (drawn); not given: what stands on the ground, buildings,",
            "ok",
        ),
    ],
)
def test_what_was_drawn_stands_for_what_it_is(tmp_path, drawn, line, state) -> None:
    """A field alone made `what you drew` of the surroundings, and drawn trees were not given all the same."""
    [found] = [one for one in headings(field_project(tmp_path), {}, {}, drawn) if one.id == "surroundings"]
    assert found.line.startswith(line) and found.state == state


def test_a_file_is_told_once_where_more_was_drawn(tmp_path) -> None:
    project = field_project(tmp_path)
    (tmp_path / "farm.toml").write_text(
        (tmp_path / "farm.toml").read_text("utf-8") + 'obstacles = "trees.gpkg"\n', "utf-8"
    )
    [found] = [one for one in headings(project, {}, {}, {"tree"}) if one.id == "surroundings"]
    assert found.line.startswith("trees; not given: ")
