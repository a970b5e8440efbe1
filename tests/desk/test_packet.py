"""What a packet says of one place agrees from paper to paper."""

from __future__ import annotations

import csv

import pytest

from tests.plans.cost.test_plan import farm, place
from tunnelsite.core import catalogue
from tunnelsite.desk.packet import _plan


def test_stakes_have_the_heights_of_the_grading_plan_beside_them(tmp_path) -> None:
    """Where topsoil is stripped the grading plan's pad lies lower than the screening's, and the stakes stood at that."""
    kinds, made = {kind.id: kind for kind in catalogue.plans()}, {}
    for name in ("grade", "stake_out"):
        assert all(one.file for one in _plan(kinds[name], (farm(), place()), made, (tmp_path, "A")))
    planned = made["grade"].summary["grading"]
    assert planned["topsoil"]["stripped_m3"] > 0
    with open(tmp_path / "A-stake-out" / "stakes.csv", encoding="utf-8", newline="") as file:
        corners = [row for row in csv.DictReader(file) if row["kind"] == "corner"]
    for row in corners:
        height = planned["level_m"] + planned["slope_along"] * float(row["along_m"])
        height += planned["slope_across"] * float(row["across_m"])
        assert float(row["finish_m"]) == pytest.approx(height, abs=1e-4)
