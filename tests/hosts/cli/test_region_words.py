"""What a region says: places under headings, what is not known about parcels, and what was not assessed."""

from __future__ import annotations

from tunnelsite.hosts.cli.region_words import region_lines, region_summary


def _parcel(name: str, state: str = "screened", **more: object) -> dict[str, object]:
    return {"parcel": name, "state": state, "reason": "", "tried": 10, "passed": 0, "centres_m2": 0.0} | more


PARCELS = [
    _parcel("A", passed=4, candidates=1),
    _parcel("B", passed=3, candidates=1),
    _parcel("C"),
    _parcel("D", centres_m2=None),
    _parcel("E", "no data"),
    _parcel("F", "failed", reason="a broken tile"),
]
SOILS = "soil drainage (no soil map was given)"
FOUND = {"house": "6x15m", "lon": 1.5, "lat": 44.25, "assessed_pct": 62.0}
CANDIDATES = [
    FOUND | {"rank": 1, "score": 91.0, "parcel": "A", "not_assessed": SOILS},
    FOUND | {"rank": 2, "score": 70.0, "parcel": "B", "not_assessed": f"deepest cut (not known here); {SOILS}"},
]


def test_what_is_not_known_and_not_assessed_is_told() -> None:
    summary = region_summary(PARCELS, CANDIDATES)
    assert (summary["no_data"], summary["not_known"], summary["with_candidates"]) == (1, 1, 2)
    assert summary["not_assessed"] == {
        "assessed_pct": 62.0,
        "gaps": [SOILS, "deepest cut (not known here) at 1 of 2 candidates"],
    }
    lines = region_lines(summary)
    assert lines[0] == "6 parcels, 2 with candidates; 60 placements tried, 7 passed every limit."
    assert lines[1].split() == ["rank", "score", "parcel", "house", "lat", "lon"]
    assert lines[2].split() == ["1", "91.0", "A", "6x15m", "44.250000", "1.500000"]
    assert "not screened: F: a broken tile" in lines and any(
        line.startswith("no data: 1 parcel holds") for line in lines
    )
    assert (
        "not known: 1 parcel has no place for a house where the heights are known, and might have one on the rest"
        in lines
    )
    assert lines[-3:] == ["Not assessed (62 % of the weight was assessed, or more):", f"  - {SOILS}",
                          "  - deepest cut (not known here) at 1 of 2 candidates"]  # fmt: skip


def test_a_region_without_a_place_says_so_and_no_more() -> None:
    lines = region_lines(region_summary([_parcel("C")], []))
    assert lines == ["1 parcel, 0 with candidates; 10 placements tried, 0 passed every limit."]
