"""What if: the stored measures give what a screening with these settings gives."""

from __future__ import annotations

import pytest

from tests.desk.fields import field_project, screened_field
from tunnelsite.desk.what_if import NeedsRun, what_if
from tunnelsite.io.read.site import site_from
from tunnelsite.screening.run import screen
from tunnelsite.settings.model import settings_from


@pytest.fixture(scope="module")
def farm(tmp_path_factory: pytest.TempPathFactory):
    project = field_project(tmp_path_factory.mktemp("farm"))
    return project, screened_field(project)


@pytest.mark.parametrize(
    "change",
    [
        {"weight": {"sun": 9, "pitch": 0}},
        {"house": ["20x48ft", "12x24ft"]},
        {"house": ["12x24ft"]},
        {"top": 2},
        {"shift": "1m"},
    ],
)
def test_answer_is_that_of_a_screening(farm, change: dict) -> None:
    project, result = farm
    settings = settings_from(project.values() | change)
    found, wanted = what_if(result, settings), screen(site_from(settings), settings=settings)
    assert [(row["house"], row["lon"], row["lat"]) for row in found.rows] == [
        (row["house"], row["lon"], row["lat"]) for row in wanted.rows
    ]
    assert [row["score"] for row in found.rows] == pytest.approx([row["score"] for row in wanted.rows], abs=1e-6)


def test_first_answer_stays_as_it_was(farm) -> None:
    project, result = farm
    before = [row["score"] for row in result.rows]
    what_if(result, settings_from(project.values() | {"weight": {"sun": 50}}))
    assert [row["score"] for row in result.rows] == before


@pytest.mark.parametrize("change", [{"ridge": "20ft"}, {"bearing": 60}, {"setback": "5m"}, {"weight": {"nonsense": 1}},
                                    {"rubric": {"pitch": {"limit": 50}}}])  # fmt: skip
def test_what_needs_terrain_is_said(farm, change: dict) -> None:
    project, result = farm
    with pytest.raises(NeedsRun) as refused:
        what_if(result, settings_from(project.values() | change))
    assert "find places again" in refused.value.fix
