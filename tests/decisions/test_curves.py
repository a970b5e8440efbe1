"""What the curves decide, on a run small enough to reckon by hand."""

from __future__ import annotations

import numpy as np
import pytest

from tests.scan.grounds import hills, site
from tunnelsite import Settings, screen
from tunnelsite.core.house import House
from tunnelsite.core.rubric import Rubric
from tunnelsite.decisions.curves import CurveEffect, curve_effects, curve_words, stretched


@pytest.fixture(scope="module")
def result():
    return screen(site(hills(80, 100, 3)), House(6, 12), settings=Settings(halo_m=20, top=5, setback_m=3, shift_m=0.0))


def test_a_curve_is_stretched_at_its_foot():
    for rubric in (Rubric(0.5, 10.0, limit=10.0), Rubric(1.0, 0.6)):
        wide = stretched(rubric, 2.0)
        assert wide.full_at == rubric.full_at and wide.limit == rubric.limit
        assert wide.none_at - wide.full_at == pytest.approx(2 * (rubric.none_at - rubric.full_at))
        assert stretched(rubric, 1.0) == rubric


def test_effects_are_those_of_a_new_ranking_of_the_candidates(result):
    """`rescore` with the stretched curve scores the same places: who leads among the candidates has to be the same one."""
    found = {one.criterion: one for one in curve_effects(result)}
    assert set(found) == {judge.id for judge in result.judges if judge.rubric.weight > 0}
    for name in ("pitch", "deepest_cut", "crown"):
        judge = next(one for one in result.judges if one.id == name)
        for width, first in ((0.5, found[name].narrow_first), (2.0, found[name].wide_first)):
            again = result.rescore({}, {name: {"none_at": stretched(judge.rubric, width).none_at}}, 1)
            scores = [again.here[0][choice.item] for choice in result.choices]
            assert scores[first - 1] == pytest.approx(np.max(scores), abs=2e-6), name
    assert found["sun"].ours and all(one.moved >= 0 for one in found.values())


def test_words():
    effects = [
        CurveEffect("wind", 2, 1, 3, True),
        CurveEffect("pitch", 1, 1, 2, True),
        CurveEffect("sun", 1, 1, 0, True),
    ]
    titles = {"wind": "Shelter from the wind", "pitch": "Pitch", "sun": "Sun"}
    (words,) = curve_words(effects, titles)
    assert (
        "hangs on shelter from the wind (half as wide: candidate 2 first)" in words
        and "ranks move with pitch by 2" in words
    )
    assert "none changes the first option" in curve_words(effects[1:], titles)[0]
