"""A check of a criterion whose measure is not known says so and tells no class."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tunnelsite.core import catalogue
from tunnelsite.decisions.rule_checks import criterion_checks
from tunnelsite.scan.engine import Judge
from tunnelsite.scan.spot import Measured


@pytest.mark.parametrize(
    "criterion", [one for one in catalogue.criteria() if one.words is not None], ids=lambda one: one.id
)
def test_what_is_not_known_has_no_words(criterion) -> None:
    judge = Judge(criterion, criterion.rubric("in-ground"))
    ((check,), score) = criterion_checks([judge], {judge.id: Measured(np.nan, np.nan)}, "mean", feet=True)
    assert (check.value, check.words, check.change, score) == (None, "", "", None)


def _line(name: str, value: float, **limits: float) -> str:
    criterion = next(one for one in catalogue.criteria() if one.id == name)
    judge = Judge(criterion, replace(criterion.rubric("in-ground"), **limits))
    ((check,), _) = criterion_checks([judge], {name: Measured(value, 0.5)}, "mean", feet=True)
    return check.line(feet=True).strip()


def test_a_line_tells_what_the_value_means_and_the_limit_in_the_same_words() -> None:
    assert _line("wind", 0.16).startswith(
        "ok       Shelter from the wind: it lies open to the winds given, with 16 % of the shelter"
    )
    assert "Wind over hilltops: no hilltop or brow speeds the wind up there; " in _line("hilltop", 1.0)
    assert "(limit 6 in (15 cm))" in _line("deepest_cut", 0.05)
    assert "(limit poorly drained); " in _line("soils", 2.0, limit=5.0)
    assert _line("water_like", 0.0) == "ok       Looks like open water: no"
    assert _line("pitch", 12.0).endswith("-> at most 10 %, now 12 %")
