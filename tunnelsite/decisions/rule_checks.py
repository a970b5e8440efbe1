"""The rules at one place: boundary, keep-outs and structures with true distances, heights, and every criterion."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial

import numpy as np
import shapely

from tunnelsite.core import amounts
from tunnelsite.core.amounts import yes_or_no
from tunnelsite.decisions.criterion_words import value_words
from tunnelsite.decisions.explanation import RuleCheck
from tunnelsite.kernels.one_thread import one_thread
from tunnelsite.scan.combine import combined, filled_marks
from tunnelsite.scan.engine import Judge
from tunnelsite.scan.open_ground import Bar
from tunnelsite.scan.refine import shrunk, too_near
from tunnelsite.scan.spot import Measured, Spot
from tunnelsite.scan.tight_ground import FIT_M
from tunnelsite.screening.not_assessed import Gap, unseen_words


def ground_checks(spot: Spot, parcel: int | None, setback_m: float, barred: Sequence[Bar]) -> list[RuleCheck]:
    """Boundary, keep-outs and structures with true distances [m]; below 0 = so far outside the parcel.

    Arguments: spot; parcel that holds its centre, None = none does; setback_m; barred, of the spot's frame.
    """
    frame, pad = spot.frame, spot.outline(spot.pad)
    home = frame.parcels[int(np.argmin(shapely.distance(frame.parcels, pad))) if parcel is None else parcel]
    over = shapely.difference(pad, home)
    out = shapely.area(shapely.difference(shrunk(pad), home)) > 0
    if out:
        margin = -float(shapely.distance(shapely.points(shapely.get_coordinates(over)), home).max())
    else:
        margin = float(shapely.distance(pad, shapely.boundary(home)))
    fits = parcel is not None and not out and margin >= setback_m - FIT_M
    need = "" if fits else f"the pad has to lie {_size(spot, setback_m - margin)} farther in, or be smaller"
    over_words = f"reaches {_size(spot, -margin)} beyond the parcel" if margin < 0 else ""
    title = "Pad inside the parcel's setback"
    checks = [RuleCheck("boundary", title, "m", margin, setback_m, fits, change=need, words=over_words)]
    return checks + [_clear_check(spot, pad, bar) for bar in barred]


def _clear_check(spot: Spot, pad: shapely.Polygon, bar: Bar) -> RuleCheck:
    gap, wanted = float(shapely.distance(pad, bar.source).min()), bar.distance_m
    clear = not too_near(pad, bar)
    need = (
        "" if clear else f"{_size(spot, wanted - gap)} more distance" if wanted > gap else "the pad must not touch it"
    )
    own = ""
    if bar.rule == "structures":
        house = shapely.buffer(pad, (spot.house.width_m - spot.pad.width_m) / 2, join_style="mitre")
        own = f" (the house itself {_size(spot, float(shapely.distance(house, bar.source).min()))})"
    title = f"Pad clear of {bar.rule.partition(':')[2] or bar.rule}{own}"
    return RuleCheck(bar.rule, title, "m", gap, wanted, clear, change=need, words="" if gap > 0 else "touches it")


def _size(spot: Spot, length_m: float) -> str:
    return amounts.size(length_m, feet=spot.house.feet)


def heights_check(spot: Spot, pad_pitch: float) -> RuleCheck:
    """Whether the ground is known under the whole pad."""
    with one_thread():
        known = bool(np.isfinite(spot.strip(pad_pitch).pad_max("ground")[0, spot.col]))
    change = "" if known else "get a DEM that covers this place"
    return RuleCheck(
        "no_data",
        "Heights known under the whole pad",
        "",
        float(known),
        1.0,
        known,
        change=change,
        words=yes_or_no(known),
    )


def criterion_checks(
    judges: Sequence[Judge], found: Mapping[str, Measured], combine: str, *, feet: bool, gaps: Sequence[Gap] = ()
) -> tuple[list[RuleCheck], float | None]:
    """A check per criterion, and the score; points are shares of the score, so they are given for the weighted mean only.

    Arguments: judges; found, by criterion; combine; feet, whether they come first; gaps, what the run could not look at.
    """
    weighted = [j for j in judges if j.rubric.weight > 0]
    some = any(not np.isnan(found[j.id].mark) for j in weighted)
    total = sum(j.rubric.weight for j in weighted)
    checks, score = [], 0.0
    for j in judges:
        share = 100 * j.rubric.weight / total if some and combine == "mean" else None
        checks.append(_criterion_check(j, found[j.id], share, feet, unseen_words(j.criterion, gaps)))
        score += checks[-1].points or 0.0
    if combine != "mean":
        weights = np.array([j.rubric.weight for j in judges])
        whole = float(combined(np.array([[found[j.id].mark] for j in judges]), weights, combine)[0])
        return checks, None if np.isnan(whole) else 100 * whole
    return checks, score if some else None


def _criterion_check(judge: Judge, found: Measured, share: float | None, feet: bool, unseen: str) -> RuleCheck:
    """One criterion. Arguments: share, points of the score that full marks would give; None = not known; feet, whether they come first;
    unseen, what it could not look at."""
    value, known, rubric = found.measure, not np.isnan(found.mark), judge.rubric
    # in single precision, as in the scan: what it kept at its very limit is not rejected here
    passed = (
        (None if rubric.limit is not None else True)
        if not known
        else not bool(rubric.beyond(np.array(value, np.float32)))
    )
    points = None if share is None else share * float(filled_marks(np.array(found.mark)))
    about, way, tell = judge.criterion.description, "at least" if rubric.rises else "at most", judge.criterion.words
    tell = tell or partial(amounts.measured, unit=about.unit, feet=feet)
    limit, now = (None if one is None else tell(one) for one in (rubric.limit, value if known else None))
    need = f"{way} {limit}, now {now}" if passed is False and limit != now else ""
    words = value_words(judge.criterion, value, {}, feet=feet, unseen=unseen) if known else ""
    return RuleCheck(
        judge.id, about.title, about.unit, value if known else None, rubric.limit, passed, found.mark if known else None,
        rubric.weight, points, None if share is None or points is None else share - points, need, words,
        "" if limit is None or judge.criterion.words is yes_or_no else limit,
    )  # fmt: skip
