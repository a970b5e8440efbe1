"""`compare` from Python: screenings at hand and the files they wrote say the same."""

from __future__ import annotations

import json

import pytest

from tests.decisions.test_explain import HOUSE, SETTINGS, ground_site
from tunnelsite import compare, screen
from tunnelsite.core.errors import UsageError


@pytest.fixture(scope="module")
def result():
    return screen(ground_site(), HOUSE, settings=SETTINGS)


def test_candidates_of_a_run_and_of_its_file(result, tmp_path):
    path = result.write(tmp_path / "sites.gpkg")
    here, there = compare(result, ranks=[2, 1]), compare(path, ranks=[2, 1])
    assert here.words() == there.words()
    assert json.loads(json.dumps(here.summary)).keys() == there.summary.keys()
    assert here.ranks == (2, 1) and here.scores == (result.rows[1]["score"], result.rows[0]["score"])
    assert here.tables["points"].sum().tolist() == pytest.approx(list(here.scores), abs=1e-3)
    assert "rank 1 scores" in here.words() and "ranks 2" in repr(here)
    assert compare(result).ranks == (1, 2, 3)


def test_two_runs_in_memory_and_on_disk(result, tmp_path):
    other = result.rescore(weights={"pitch": 9.0})
    paths = [run.write(tmp_path / f"{name}.gpkg") for name, run in (("a", result), ("b", other))]
    here, there = compare(result, other), compare(*paths)
    assert [(p.rank_a, p.rank_b) for p in here.pairs] == [(p.rank_a, p.rank_b) for p in there.pairs]
    assert here.settings == there.settings and "weight" in here.settings and not here.inputs
    assert here.words() == there.words() and "setting weight" in here.words()
    assert len(here.tables["pairs"]) == len(here.pairs) and list(here.tables["settings"]["name"]) == list(here.settings)
    assert {tuple(sorted(one)) for one in here.summary["pairs"]} == {
        ("house_a", "house_b", "overlap", "rank_a", "rank_b", "score_change")
    }


@pytest.mark.parametrize("ranks", [[1], [1, 1], [1, 99], []])
def test_ranks_that_cannot_be_compared(result, ranks):
    with pytest.raises(UsageError):
        compare(result, ranks=ranks)


def test_two_runs_and_ranks_are_not_one_question(result):
    with pytest.raises(UsageError, match="one or the other"):
        compare(result, result, ranks=[1, 2])
