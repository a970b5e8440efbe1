"""Descriptions and rubrics."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tunnelsite.core.describe import Description, Parameter
from tunnelsite.core.errors import UsageError
from tunnelsite.core.rubric import Rubric

WORDS = Description(
    "test",
    "Test",
    "A test.",
    parameters=(
        Parameter("depth", "depth", 0.5, "m", 0.0, 2.0),
        Parameter("count", "count", 3, "", 1, 9),
        Parameter("way", "way", "a", choices=("a", "b")),
        Parameter("flag", "flag", True),
    ),
)


def test_defaults_and_types() -> None:
    assert WORDS.checked({}) == {"depth": 0.5, "count": 3, "way": "a", "flag": True}
    assert WORDS.checked({"depth": "1", "count": "2", "way": "b", "flag": "false"})["flag"] is False


@pytest.mark.parametrize(
    "given",
    [{"depht": 1}, {"depth": -1}, {"depth": math.nan}, {"count": 2.5}, {"count": "x"}, {"way": "c"}, {"flag": "maybe"}],
)
def test_wrong_parameters_are_refused(given: dict) -> None:
    with pytest.raises(UsageError) as error:
        WORDS.checked(given)
    assert next(iter(given))[:3] in str(error.value)


def test_a_misspelt_name_gets_a_suggestion() -> None:
    with pytest.raises(UsageError, match="did you mean 'depth'"):
        WORDS.checked({"depht": 1})


def test_json_schema_says_the_same() -> None:
    schema = WORDS.json_schema()
    assert schema["properties"]["depth"] == {
        "type": "number", "default": 0.5, "title": "depth [m]", "minimum": 0.0, "maximum": 2.0,
    }  # fmt: skip
    assert schema["properties"]["way"]["enum"] == ["a", "b"]
    assert schema["additionalProperties"] is False


def test_marks_run_straight_and_limits_reject() -> None:
    rubric = Rubric(full_at=0.5, none_at=5.0, limit=8.0)
    marks = rubric.marks(np.array([0.0, 0.5, 2.75, 5.0, 9.0, np.nan]))
    assert marks[:5] == pytest.approx([1, 1, 0.5, 0, 0])
    assert math.isnan(marks[5])
    assert rubric.beyond(np.array([8.0, 8.001, np.nan])).tolist() == [False, True, False]
    assert Rubric(1.0, 0.0, limit=0.2).beyond(np.array([0.1, 0.2])).tolist() == [True, False]


@pytest.mark.parametrize(
    "numbers", [(1.0, 1.0, None, 1.0), (math.nan, 0.0, None, 1.0), (1.0, 0.0, None, -1.0), (1.0, 0.0, math.inf, 1.0)]
)
def test_rubrics_that_cannot_be(numbers: tuple) -> None:
    with pytest.raises(UsageError):
        Rubric(*numbers)


@given(st.floats(-100, 100), st.floats(-100, 100), st.lists(st.floats(-1e3, 1e3), min_size=2, max_size=20))
def test_marks_are_monotone_and_within_0_1(full: float, none: float, values: list[float]) -> None:
    if abs(full - none) < 1e-6:
        return
    rubric = Rubric(full, none)
    marks = rubric.marks(np.sort(np.array(values)))
    assert ((marks >= 0) & (marks <= 1)).all()
    steps = np.diff(marks) * (1 if rubric.rises else -1)
    assert (steps >= 0).all()
