"""The robustness of a ranking as tables and in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from tunnelsite.core.reproject import from_grid
from tunnelsite.core.ridge_words import ridge_words
from tunnelsite.core.table import INTEGER, REAL, TEXT, Heading, Places, Table, table_of
from tunnelsite.core.wording import inside, place_words
from tunnelsite.scan.firmness.elsewhere import Winner
from tunnelsite.scan.firmness.rank_shares import RankShares
from tunnelsite.scan.firmness.verdict import verdict_of
from tunnelsite.scan.refine import placement, rectangle, where

if TYPE_CHECKING:
    from tunnelsite.screening.result import Result

COLUMNS = {
    "rank": Heading(INTEGER, "rank of the candidate; none for a place that is not in the list"),
    "parcel": Heading(TEXT, "parcel that holds the pad"),
    "house": Heading(TEXT, "house size as given"),
    "bearing_deg": Heading(REAL, "bearing of the ridge, clockwise from true north at the spot", "deg"),
    "lon": Heading(REAL, "longitude of the centre, WGS 84", "deg"),
    "lat": Heading(REAL, "latitude of the centre, WGS 84", "deg"),
    "score": Heading(REAL, "score under the given weights", "0-100"),
    "score_low": Heading(REAL, "score in 5 % of the draws of weights and errors", "0-100"),
    "score_high": Heading(REAL, "score in 95 % of them", "0-100"),
    "first_share": Heading(REAL, "share of the draws of weights and errors in which it ranks first of the list", "0-1"),
    "top_share": Heading(REAL, "share of them in which it is among the best of the list (how many: see the run table)", "0-1"),
    "out_share": Heading(REAL, "share of them in which a limit rejects it", "0-1"),
    "mean_rank": Heading(REAL, "mean rank in the draws in which no limit rejects it"),
    "first_by_weights": Heading(REAL, "share of draws in which it ranks first where weights alone are drawn", "0-1"),
    "first_by_errors": Heading(REAL, "share of draws in which it ranks first where errors alone are drawn", "0-1"),
    "best_of_all": Heading(
        REAL, "share of draws of the weights in which this place is the best of ALL placements, listed or not", "0-1"
    ),
    "better_placements": Heading(INTEGER, "placements of all that score higher under the given weights"),
    "pitch_within_share": Heading(REAL, "share of draws in which the ground is within 1/192 both ways", "0-1"),
    "pitch_within_exact": Heading(REAL, "the same in closed form, without drawing", "0-1"),
    "pitch_sd_along_pct": Heading(REAL, "standard deviation of the slope along the ridge under these errors", "%"),
    "pitch_sd_across_pct": Heading(REAL, "standard deviation of the slope across the ridge under these errors", "%"),
}  # fmt: skip


def robustness_rows(result: Result, found: RankShares, winners: Sequence[Winner]) -> list[dict[str, Any]]:
    """One row a candidate, then one a place that is not in the list but the best in some draws."""
    best = {winner.rank: winner.share for winner in winners if winner.rank is not None}
    rows = []
    for k, row in enumerate(result.rows):
        choice = result.choices[k]
        told = {name: row[name] for name in ("rank", "parcel", "house", "bearing_deg", "lon", "lat", "score")}
        arrays = {
            "score_low": found.score_low, "score_high": found.score_high, "first_share": found.first,
            "top_share": found.top, "out_share": found.out, "mean_rank": found.mean_rank,
            "first_by_weights": found.first_by_weights, "first_by_errors": found.first_by_errors,
            "pitch_within_share": found.within, "pitch_within_exact": found.within_exact,
            "pitch_sd_along_pct": found.pitch_sd_pct[:, 0], "pitch_sd_across_pct": found.pitch_sd_pct[:, 1],
        }  # fmt: skip
        told |= {name: float(values[k]) if np.isfinite(values[k]) else None for name, values in arrays.items()}
        told["best_of_all"] = best.get(k + 1, 0.0)
        told["better_placements"] = sum(int((values > choice.score + 5e-7).sum()) for values in result.scored)
        rows.append(told)
    for winner in winners:
        if winner.rank is None:
            scan = result.scans[winner.scan]
            told = {"rank": None, "parcel": scan.frame.parcel_names[scan.owner[winner.item]], "house": scan.house.name}
            told |= where(scan, np.array(winner.item)) | {
                "score": round(float(result.scored[winner.scan][winner.item]), 4)
            }
            rows.append(told | {"best_of_all": winner.share, "better_placements": winner.better})
    return rows


def robustness_table(result: Result, rows: list[dict[str, Any]], winners: Sequence[Winner]) -> Table:
    """The rows with the footprints they are of."""
    places = [(choice.scan, choice.item) for choice in result.choices]
    places += [(winner.scan, winner.item) for winner in winners if winner.rank is None]
    shapes = [_footprint(result, *place) for place in places]
    title = "How firm the ranking is under random weights and elevation errors, and places not in the list"
    return table_of("robustness", title, COLUMNS, rows, Places(np.array(shapes, object), "Polygon", result.crs))


def acceptability_table(found: RankShares) -> Table:
    """Rank acceptability: how often each candidate takes each rank."""
    columns = {
        "rank": Heading(INTEGER, "rank of the candidate in the list"),
        "takes_rank": Heading(INTEGER, "rank it takes in a draw"),
        "share": Heading(REAL, "share of the draws of weights and errors", "0-1"),
    }
    rows = [
        {"rank": i + 1, "takes_rank": r + 1, "share": float(share)}
        for i, line in enumerate(found.shares)
        for r, share in enumerate(line)
    ]
    return table_of("rank_acceptability", "How often each candidate takes each rank", columns, rows)


def plan_rows(found: RankShares) -> list[dict[str, str]]:
    """What was drawn, as rows of the run table."""
    plan = found.plan
    told = {
        "draws": str(plan.draws),
        "seed": str(plan.seed),
        "concentration": f"{plan.concentration:g}",
        "top": f"the best {plan.k}",
        "elevation_error_m": _counted(found, ""),
        "error_range_m": f"{found.errors[0].counted.range_m:g}",
        "measured_again": ", ".join(found.redrawn) or "nothing",
        "drawn_by_standard_error": ", ".join(found.spread) or "nothing",
        "verdict": verdict_of(found).sentence,
    }
    return [{"kind": "robustness", "name": name, "value": value} for name, value in told.items()]


def _counted(found: RankShares, unit: str = " m") -> str:
    """Standard deviations that were counted [m]."""
    sds = sorted(error.counted.sd_m for error in found.errors)
    if not found.errors[0].counted.assumed:
        return f"{sds[0]:g}{unit}"
    span = f"{sds[0]:.2g}" if sds[-1] - sds[0] < 0.005 else f"{sds[0]:.2g} to {sds[-1]:.2g}"
    return f"{span}{unit} (assumed, no more than the model is rough there)"


def robustness_words(rows: list[dict[str, Any]], found: RankShares, titles: Mapping[str, str]) -> str:
    """For people. Arguments: rows; found; titles of the criteria by id."""
    plan = found.plan
    again, spreads = (", ".join(inside(titles[one]) for one in some) for some in (found.redrawn, found.spread))
    spread = f"concentration {plan.concentration:g}" if plan.concentration else "any weights"
    lines = [
        f"{plan.draws} draws (seed {plan.seed}): random weights ({spread}) and errors of the elevations, standard deviation "
        f"{_counted(found)}, correlated over {found.errors[0].counted.range_m:g} m; and ground that the model's cells hide.",
        f"a share is good to {200 * np.sqrt(0.25 / plan.draws):.0f} points or better; none knows errors other than these",
        f"measured again on each drawn ground: {again or 'nothing'}"
        + (f"; drawn by their standard errors: {spreads}" if spreads else "")
        + "; all else as it is",
        f"{'rank':>4} {'score':>6} {'5-95 %':>12}  {'first':>5} {'top ' + str(plan.k):>6} {'out':>5} {'mean rank':>9}  "
        f"{'within 1/192':>12}  parcel",
    ]
    for row in rows[: len(found.first)]:
        span = "-" if row["score_low"] is None else f"{row['score_low']:.1f}-{row['score_high']:.1f}"
        mean = "-" if row["mean_rank"] is None else f"{row['mean_rank']:.1f}"
        chance = row["pitch_within_exact"]  # as explain and the report tell it, not that of the draws
        level = "-" if chance is None else f"{chance:.0%}"
        lines.append(
            f"{row['rank']:>4} {row['score']:6.1f} {span:>12}  {row['first_share']:5.0%} {row['top_share']:6.0%} "
            f"{row['out_share']:5.0%} {mean:>9}  {level:>12}  {row['parcel']}"
        )
    lines += _verdict(rows[: len(found.first)], found)
    for row in rows[len(found.first) :]:
        lines.append(
            f"a place not in the list, {place_words(row['lon'], row['lat'])} ({row['parcel']}, {row['house']}, ridge "
            f"{ridge_words(row['bearing_deg'])}), is the best of all in {100 * row['best_of_all']:.1f} % of the draws of the weights; "
            f"{row['better_placements']:,} placements score higher under the given ones"
        )
    listed = sum(row["best_of_all"] for row in rows[: len(found.first)])
    lines.append(f"the best of all placements is in the list in {100 * listed:.0f} % of the draws of the weights")
    return "\n".join(lines)


def _verdict(rows: list[dict[str, Any]], found: RankShares) -> list[str]:
    weights, errors = (max(row[name] for row in rows) for name in ("first_by_weights", "first_by_errors"))
    unsure = "the elevations" if errors < weights else "the weights"
    return [
        verdict_of(found).sentence,
        f"drawn alone, weights leave one candidate first in {100 * weights:.0f} % of the draws and errors in {100 * errors:.0f} %: "
        f"most of the doubt comes from {unsure}",
    ]


def _footprint(result: Result, scan_number: int, item: int) -> shapely.Geometry:
    scan = result.scans[scan_number]
    _, _, along, across = placement(scan, item)
    shape = np.array([rectangle(along, across, scan.house.length_m, scan.house.width_m)], object)
    return from_grid(shape, scan.frame.grid, result.crs)[0]
