"""`robustness` from Python: the run's own draws where nothing else is asked, and what is asked for where it is."""

from __future__ import annotations

import json

import numpy as np
import pyogrio
import pytest

from tests.decisions.test_explain import HOUSE, SETTINGS, ground_site
from tunnelsite import robustness, screen
from tunnelsite.core.errors import UsageError
from tunnelsite.decisions.robustness import StatedError


@pytest.fixture(scope="module")
def result():
    return screen(ground_site(), HOUSE, settings=SETTINGS.model_copy(update={"draws": 40}))


def test_the_runs_own_draws_and_verdict(result):
    found = robustness(result)
    assert found.shares is result.rank_shares and found.verdict == result.verdict
    assert len(found.rows) >= len(result.choices) and "40 draws" in found.words()
    told = json.loads(json.dumps(found.summary, allow_nan=False))
    assert told["verdict"]["sentence"] == result.verdict.sentence and told["plan"]["draws"] == "40"
    assert repr(found) == f"<Robustness: {result.verdict.sentence}>"
    shown = found._repr_html_()  # in a notebook
    assert "rank_acceptability" in shown and "POLYGON" not in shown
    table = found.tables["robustness"]
    assert table.geometry.area.iloc[0] == pytest.approx(72, rel=1e-3) and len(table) == len(found.rows)
    acceptability = found.tables["rank_acceptability"]
    assert acceptability["share"].sum() == pytest.approx(len(result.choices) - found.shares.out.sum())


def test_what_is_asked_for_is_drawn(result):
    found = robustness(result, draws=25, seed=9, concentration=0, error=StatedError(sd_m=0.3))
    assert found.shares.plan.draws == 25 and found.shares.plan.seed == 9 and found.shares.plan.concentration == 0
    assert found.summary["plan"]["elevation_error_m"] == "0.3"
    again = robustness(result, draws=25, seed=9, concentration=0, error=StatedError(sd_m=0.3))
    assert np.array_equal(found.shares.shares, again.shares.shares)
    exact = robustness(result, draws=25, seed=9, error=StatedError(sd_m=0.0))
    assert exact.shares.pitch_sd_pct.max() < found.shares.pitch_sd_pct.max()


@pytest.mark.parametrize(
    "wrong", [{"draws": 0}, {"draws": -3}, {"concentration": -1.0}, {"error": StatedError(sd_m=-0.1)}]
)
def test_numbers_out_of_range_are_refused(result, wrong):
    with pytest.raises(UsageError):
        robustness(result, **wrong)


def test_written_as_the_command_writes_it(result, tmp_path):
    path = robustness(result).write(tmp_path / "firm.gpkg")
    assert {name for name, _ in pyogrio.list_layers(path)} >= {"robustness", "rank_acceptability", "run"}
    kinds = set(pyogrio.read_dataframe(path, layer="run")["kind"])
    assert "robustness" in kinds
