"""Which limits rejected most: the table's rows summed, and the same for whoever asks."""

from __future__ import annotations

from tests.scan.grounds import hills, site
from tunnelsite import Settings, screen
from tunnelsite.core.house import House
from tunnelsite.hosts.cli.screening_words import _costliest
from tunnelsite.screening.costly_limits import CostlyLimit, costly_limits


def row(rule, rejected, tried, limit=None, parcel="A"):
    return {
        "rule": rule,
        "rejected": rejected,
        "tried": tried,
        "limit_value": limit,
        "unit": "m",
        "reason": rule.title(),
        "parcel": parcel,
    }


def test_rows_of_one_limit_are_summed_and_edges_are_no_limits():
    rows = [
        row("boundary", 900, 1000),
        row("pitch", 5, 100, 10.0),
        row("ponding", 9, 95, 0.5),
        row("deepest_cut", 0, 50, 0.15),
    ]
    rows += [row("pitch", 7, 60, 10.0, "B"), row("ponding", 1, 53, 0.5, "B")]
    assert costly_limits(rows) == [
        CostlyLimit("pitch", "Pitch", 10.0, "m", 12, 160),
        CostlyLimit("ponding", "Ponding", 0.5, "m", 10, 148),
    ]
    assert costly_limits([]) == []
    assert _costliest(rows) == " Limits that rejected most: pitch (12), ponding (10)." and _costliest([]) == ""


def test_the_tables_rows_are_what_the_scans_counted():
    """By hand: every tally of every scan, over both bearings."""
    ground = site(hills(70, 80, 5, rise=3.0))
    settings = Settings(halo_m=15, azimuths=8, top=3, bearing_tolerance_deg=90, bearing_step_deg=90)
    result = screen(ground, House(6, 12), settings=settings)
    counted = {}
    for judge in result.judges:
        tallies = [tally for scan in result.scans for tally in scan.tallies[judge.id] if judge.rubric.limit is not None]
        if sum(tally.rejected for tally in tallies):
            counted[judge.id] = sum(tally.rejected for tally in tallies), sum(tally.tried for tally in tallies)
    found = costly_limits(result.tables["rejections"].rows)
    assert len(result.scans) == 2 and found and {one.rule: (one.rejected, one.tried) for one in found} == counted
    assert [one.rejected for one in found] == sorted((one.rejected for one in found), reverse=True)
