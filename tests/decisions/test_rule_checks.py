"""A check of a criterion whose measure is not known says so and tells no class."""

from __future__ import annotations

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
