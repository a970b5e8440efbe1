"""`make_report`: the page as a value, from a screening at hand or a kept run."""

from __future__ import annotations

import json

import numpy as np
import pytest

from tests.decisions.test_explain import HOUSE, SETTINGS, ground_site
from tests.report.conftest import FEW_DRAWS
from tunnelsite import ReportSettings, make_report, screen
from tunnelsite.core.errors import UsageError
from tunnelsite.report import candidate_study
from tunnelsite.screening.kept_run import keep_run, kept_run
from tunnelsite.settings.field import read_settings


@pytest.fixture(scope="module", autouse=True)
def _few_grounds_are_drawn():
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(candidate_study, "DRAWS", FEW_DRAWS)
        yield


@pytest.fixture(scope="module")
def site():
    return ground_site()


@pytest.fixture(scope="module")
def result(site):
    return screen(site, HOUSE, settings=SETTINGS)


def test_a_screening_at_hand_has_its_own_sun_charts(result, tmp_path):
    made = make_report(result, ReportSettings(cards=1, title="A field"))
    assert made.page.startswith("<!doctype html>") and "A field" in made.page and "Sun chart of option 1" in made.page
    told = json.loads(json.dumps(made.summary))
    assert told["candidates"] == len(result.choices) and told["cards"] == 1 and told["not_planned"] == []
    path = made.write(tmp_path / "page.html")
    assert path.stat().st_size == told["page_bytes"] and len(repr(made)) < 80


def test_a_kept_run_needs_its_inputs_for_sun_charts(site, result, tmp_path):
    keep_run(result, tmp_path / "run.npz", overwrite=False)
    kept = kept_run(tmp_path / "run.npz")
    without = make_report(kept, ReportSettings(cards=1))
    assert any("without its surface" in text for text in without.summary["not_planned"])
    assert make_report(kept, ReportSettings(cards=1), site=site).summary["not_planned"] == []
    other = ground_site()
    object.__setattr__(
        other, "dem", type(other.dem)(np.zeros((9, 9), np.float32), other.dem.affine, other.dem.crs, sha256="ff")
    )
    with pytest.raises(UsageError, match="contents differ"):
        make_report(kept, site=other)


def test_cards_of_the_client_and_of_nobody_else():
    assert ReportSettings().most_cards == 10 and ReportSettings(client=True).most_cards == 3
    assert read_settings(ReportSettings, {"cards": "0"}).most_cards == 0
    for wrong in ("-1", "201", "many"):
        with pytest.raises(UsageError):
            read_settings(ReportSettings, {"cards": wrong})
