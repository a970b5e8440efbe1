"""Criteria that do not tell the options apart are named, and only those."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.scan.grounds import hills, site
from tunnelsite import Settings, screen
from tunnelsite.core.house import House
from tunnelsite.scan.firmness.other_weights import candidate_marks
from tunnelsite.scan.firmness.ties import undecided


@pytest.fixture(scope="module")
def result():
    return screen(site(hills(70, 90, 3)), House(6, 12), settings=Settings(halo_m=20, top=4, azimuths=8))


def test_what_does_not_decide_is_named(result):
    found = " ".join(undecided(result)).lower()
    marks = candidate_marks(result)
    alike = {
        judge.criterion.description.title.lower(): bool(np.ptp(row) <= 0.01)
        for judge, row in zip(result.judges, marks, strict=True)
        if judge.rubric.weight > 0
    }
    assert any(alike.values()) and not all(alike.values())
    for title, same in alike.items():
        assert (title in found) == same, title
    assert "all four options" in found and "not decide" in found


def test_full_marks_equal_marks_and_no_marks_are_three_things(result, monkeypatch):
    count = len(result.judges)
    marks = np.linspace(0, 1, count * 4).reshape(count, 4)
    weighted = [k for k, judge in enumerate(result.judges) if judge.rubric.weight > 0]
    marks[weighted[0]] = [1.0, 0.995, 1.0, 1.0]
    marks[weighted[1]] = 0.4
    marks[weighted[2]] = [1.0, np.nan, 1.0, 1.0]
    marks[weighted[3]] = [0.0, 0.005, 0.0, 0.0]
    monkeypatch.setattr("tunnelsite.scan.firmness.ties.candidate_marks", lambda result: marks)
    titles = [result.judges[k].criterion.description.title for k in weighted[:4]]
    assert undecided(result) == [
        f"{titles[3]} earns no marks at any option: every place listed is poor in it, the first one too.",
        f"{titles[0]} earns full marks at all four options: it does not decide.",
        f"{titles[1]} is the same at all four options: it does not decide.",
    ]


def test_a_list_that_ends_among_equals_says_how_many_there_are(result):
    scored = [np.where(np.arange(len(values)) % 3 == 0, 90.0, 70.0) for values in result.scored]
    same = int(sum((values == 90).sum() for values in scored))
    level = [replace(choice, score=90.02) for choice in result.choices]
    said = undecided(replace(result, scored=scored, choices=level))
    assert said[0].startswith(f"{same:,} places have the score of option 1") and len(said) > 1
    assert "have the score" not in " ".join(undecided(replace(result, scored=scored)))  # these options differ


def test_one_option_has_nothing_to_be_told_from(result):
    assert undecided(replace(result, choices=result.choices[:1])) == undecided(replace(result, choices=[])) == []
