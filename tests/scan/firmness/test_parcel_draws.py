"""Draws of parcels against the screening that they repeat; whole regions are drawn in tests/region/test_sensitivity.py."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.scan.grounds import hills, site
from tunnelsite import Settings, screen
from tunnelsite.core.house import House
from tunnelsite.scan.firmness.parcel_draws import ParcelPlan, parcel_draws

AS_ASKED = ParcelPlan(draws=3, concentration=None, limit_range=0.0, heights=False)


def test_what_the_scan_kept_at_its_very_limit_passes_where_nothing_is_drawn() -> None:
    """0.15 m is a little more in the single precision of a measure; the scan compares there, too."""
    run = screen(
        site(hills(60, 70, 3)), House(6, 12), settings=Settings(halo_m=20, top=1, azimuths=8, weight={"deepest_cut": 0})
    )
    limit = next(judge.rubric.limit for judge in run.judges if judge.id == "deepest_cut")
    assert float(np.float32(limit)) > limit
    scan = run.scans[0]
    at_limit = {**scan.measures, "deepest_cut": np.full(len(scan.index), limit, np.float32)}
    kept = replace(run, scans=[replace(scan, measures=at_limit)])
    [scores] = parcel_draws(kept, run.judges, {"as asked": AS_ASKED}, 0)["as asked"].values()
    assert scores[0] == pytest.approx(np.full(3, np.nanmax(run.scored[0])), abs=1e-5)
