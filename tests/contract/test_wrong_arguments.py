"""Every plan, decision and writer refuses an argument of another kind in words: what it is, and what is expected."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

import tunnelsite
from tunnelsite import House, LayoutSettings, Placement, SunChartSettings
from tunnelsite.core.errors import UsageError
from tunnelsite.core.layers import Features, SourceRaster
from tunnelsite.core.site import Site

SITE = Site(SourceRaster(np.zeros((4, 5), np.float32), (1, 0, 0, 0, -1, 0), None), Features(np.empty(0, object)))  # type: ignore[arg-type]
PLACE = Placement(-78.0, 43.0, 90.0, House.parse("30x96ft"))
PLANS = [tunnelsite.sun_chart, tunnelsite.grade, tunnelsite.stake_out, tunnelsite.cost]


@pytest.mark.parametrize("plan", PLANS)
def test_a_plan_wants_a_site_and_a_place(plan: Callable[..., object]) -> None:
    with pytest.raises(UsageError, match=r"site is a Placement. Expected: a Site"):
        plan(PLACE, SITE)
    with pytest.raises(UsageError, match=r"place is a whole number. Expected: a Placement\b"):
        plan(SITE, 1)


def test_a_layout_wants_a_site_or_a_screening() -> None:
    with pytest.raises(UsageError, match=r"of is a Placement. Expected: a Site or a Result"):
        tunnelsite.lay_out(PLACE)  # type: ignore[arg-type]
    with pytest.raises(UsageError, match=r"settings is a SunChartSettings. Expected: a LayoutSettings"):
        tunnelsite.lay_out(SITE, SunChartSettings())  # type: ignore[arg-type]
    with pytest.raises(UsageError, match=r"settings is a LayoutSettings. Expected: a CostSettings"):
        tunnelsite.cost(SITE, PLACE, LayoutSettings())  # type: ignore[arg-type]


@pytest.mark.parametrize("of", [1, None, PLACE])
def test_a_decision_wants_a_screening(of: object) -> None:
    calls: list[Callable[..., object]] = [
        tunnelsite.explain,
        tunnelsite.compare,
        tunnelsite.robustness,
        tunnelsite.make_report,
    ]
    for call in (*calls, lambda given: tunnelsite.export(given, "there")):
        with pytest.raises(UsageError, match=r"Expected: a Result"):
            call(of)
