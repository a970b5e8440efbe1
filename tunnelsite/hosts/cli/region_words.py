"""What a region answers on the screen: how many parcels have room, the first places, what is not known and what was not assessed."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

from tunnelsite.core.counting import counted, verb
from tunnelsite.hosts.cli.screening_words import ALL_PCT

SHOWN, KEPT, MOST_FAILED = 10, 20, 10  # places on the screen and in the summary; parcels that failed
LISTED = ("rank", "score", "parcel", "house", "lon", "lat")

Row = Mapping[str, Any]


def region_summary(parcels: Sequence[Row], candidates: Sequence[Row]) -> dict[str, Any]:
    """What a program wants to know. Arguments: rows of the layers `parcels` and `candidates`."""
    failed = [row for row in parcels if row["state"] == "failed"]
    shares = [row["assessed_pct"] for row in candidates]
    return {
        "parcels": len(parcels),
        "no_data": sum(row["state"] == "no data" for row in parcels),
        "not_known": sum(_not_known(row) for row in parcels),
        "failed": [{"parcel": row["parcel"], "reason": row["reason"]} for row in failed],
        "with_candidates": sum(bool(row.get("candidates")) for row in parcels),
        "placements_tried": sum(row.get("tried") or 0 for row in parcels),
        "placements_passed": sum(row.get("passed") or 0 for row in parcels),
        "candidates": len(candidates),
        "best": [{name: row.get(name) for name in LISTED} for row in candidates[:KEPT]],
        "not_assessed": {"assessed_pct": min(shares, default=None), "gaps": _gaps(candidates)},
    }


def _not_known(row: Row) -> bool:
    """Whether a parcel that was screened holds no place in the part that is known, and might on the rest."""
    return row["state"] == "screened" and row.get("passed") == 0 and row.get("centres_m2") is None


def _gaps(candidates: Sequence[Row]) -> list[str]:
    """What was not assessed, each once; what lacks at some candidates only, with how many."""
    times = Counter(text for row in candidates for text in str(row.get("not_assessed") or "").split("; ") if text)
    return [
        text if count == len(candidates) else f"{text} at {count:,} of {len(candidates):,} candidates"
        for text, count in times.items()
    ]


def region_lines(summary: Row) -> list[str]:
    """The summary for people."""
    lines = [
        f"{counted(summary['parcels'], 'parcel')}, {summary['with_candidates']:,} with candidates; {summary['placements_tried']:,} "
        f"placements tried, {summary['placements_passed']:,} passed every limit."
    ]
    if summary["best"]:
        lines.append(f"{'rank':>5} {'score':>6}  {'parcel':<24} {'house':<9} {'lat':>10} {'lon':>11}")
    for row in summary["best"][:SHOWN]:
        lines.append(
            f"{row['rank']:>5} {row['score']:6.1f}  {row['parcel'][:24]:<24} {row['house']:<9} {row['lat']:10.6f} {row['lon']:11.6f}"
        )
    failed = summary["failed"]
    lines += [f"not screened: {row['parcel']}: {row['reason']}" for row in failed[:MOST_FAILED]]
    if len(failed) > MOST_FAILED:
        lines.append(f"... and {len(failed) - MOST_FAILED} more, see the layer `parcels`")
    if summary["no_data"]:
        words = f"{counted(summary['no_data'], 'parcel')} {verb(summary['no_data'], 'holds', 'hold')}"
        lines.append(f"no data: {words} not one height of the elevation model, see the layer `parcels`")
    if summary["not_known"]:
        words = f"{counted(summary['not_known'], 'parcel')} {verb(summary['not_known'], 'has', 'have')}"
        lines.append(
            f"not known: {words} no place for a house where the heights are known, and might have one on the rest"
        )
    return lines + _unassessed(summary["not_assessed"])


def _unassessed(found: Row) -> list[str]:
    if not found["gaps"]:
        return []
    share = found["assessed_pct"]
    known = "" if share > ALL_PCT else f" ({share:.0f} % of the weight was assessed, or more)"
    return [f"Not assessed{known}:", *(f"  - {text}" for text in found["gaps"])]
