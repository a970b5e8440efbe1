"""Where little passes: every count of the `relax` table against a screening with that limit, compromises against their limits."""

from __future__ import annotations

import numpy as np
import pytest

from tests.scan.grounds import hills, site
from tunnelsite import screen
from tunnelsite.core.house import House
from tunnelsite.core.rubric import Rubric
from tunnelsite.screening.relaxing import relaxation, relaxed_limits
from tunnelsite.settings.model import settings_from

GIVEN = {"halo": "20m", "top": 10}
HOUSE = House.parse("4x9m")


@pytest.fixture(scope="module")
def result():
    return screen(site(hills(80, 80, 3, rise=2.0)), HOUSE, settings=settings_from(GIVEN))


def test_counts_are_those_of_a_screening_with_that_limit(result) -> None:
    found = result.relaxation
    assert 0 < len(result.choices) < 5 and found.steps
    for step in found.steps[:2]:
        rubric = {step.judge.id: {"limit": step.value}}
        fresh = screen(result.site, HOUSE, settings=settings_from(GIVEN | {"rubric": rubric}))
        assert len(fresh.scans[0].index) - len(result.scans[0].index) == step.placements
        assert len(fresh.choices) - len(result.choices) == step.options
        assert fresh.choices[0].score == pytest.approx(step.best_score, abs=1e-5)


def test_compromises_break_a_limit_and_keep_clear_of_the_options(result) -> None:
    table = result.tables["compromises"]
    assert len(table.rows) == len(result.relaxation.breaks) > 0
    for row, broken in zip(table.rows, result.relaxation.breaks, strict=True):
        assert broken and all(one.judge.rubric.beyond(np.float32(one.measure)) for one in broken)
        assert not any(one.judge.criterion.firm for one in broken)
        assert row["breaks_by"] == pytest.approx(broken[0].measure - broken[0].judge.rubric.limit)
    candidates = result.tables["candidates"].geometry
    for shape in table.geometry:
        assert min(shape.centroid.distance(one.centroid) for one in candidates) > result.apart_m * 0.999
    scores = [row["score"] for row in table.rows]
    assert scores == sorted(scores, reverse=True)


def test_where_enough_passes_nothing_is_relaxed() -> None:
    level = screen(site(np.full((80, 80), 100.0) + 0.002 * np.arange(80)), HOUSE, settings=settings_from(GIVEN))
    assert len(level.choices) >= 5 and relaxation(level) is None
    assert "relax" not in level.tables and "compromises" not in level.tables


def test_steps_loosen_a_limit_on_its_own_side() -> None:
    assert relaxed_limits(Rubric(0.0, 0.15, limit=0.15)) == [0.188, 0.225, 0.3, 0.45]
    assert relaxed_limits(Rubric(1.0, 0.5, limit=0.8)) == [0.6, 0.4, 0.0, -0.8]
    assert relaxed_limits(Rubric(1.0, -1.0, limit=0.0)) == [-0.5, -1.0, -2.0, -4.0]
