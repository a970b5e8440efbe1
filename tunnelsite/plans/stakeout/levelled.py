"""A level book brought to a stake-out sheet: measured heights at the stakes, the plan from them, the as-built check."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np

from tunnelsite.core.level_book_text import LevelBookText
from tunnelsite.core.stake_sheet import StakePoint, StakeSheet
from tunnelsite.core.stakes import DesignPlane, Stake
from tunnelsite.plans.candidate import Candidate
from tunnelsite.plans.stakeout import measured_plan as measuring
from tunnelsite.plans.stakeout.level_book import LevelRun, parse_level_book, reduce_level_book
from tunnelsite.plans.stakeout.reading_doubts import doubted_readings, doubted_unit
from tunnelsite.plans.stakeout.settings import StakeOutSettings


def levelled_sheet(
    book: LevelBookText, asked: StakeOutSettings, found: Candidate, sheet: StakeSheet
) -> tuple[StakeSheet, dict[str, Any]]:
    """The sheet with the heights that were read, and what the readings say, ready for the summary.

    Arguments: book; asked, the unit of its readings and its known marks; found, the place; sheet, from the elevation model.
    Errors: InputRefused, UsageError for a level book that cannot be used.
    """
    sightings = parse_level_book(book.text, asked.level_unit or "m", book.name)
    run = reduce_level_book(sightings, asked.known_heights(sightings[0].station))
    stakes = [Stake(point.kind, point.label, point.along_m, point.across_m) for point in sheet.points]
    measured = measuring.joined(run.heights_m(), stakes)
    pad = (sheet.pad_length_m, sheet.pad_width_m)
    plan = measuring.measured_plan(measured, pad, found.settings.pad_pitch, found.settings.shrink)
    said: dict[str, Any] = {"level_book": _book(run, measured), "measured_plan": _plan(plan, measured)}
    notes = [f"level book: {run.verdict}"]
    model = {point.label: np.nan if point.ground_m is None else point.ground_m for point in sheet.points}
    doubts = doubted_readings(measured, feet=found.place.house.feet)
    slip = doubted_unit(measured.height_m, np.array([model[stake.label] for stake in measured.stakes]))
    doubts += [slip] if slip else []
    notes += [f"DOUBTED: {words}" for words in doubts]
    said["doubts"] = doubts
    if measured.unused:
        notes.append(f"stations of the level book that are no stakes: {', '.join(measured.unused)}")
    if asked.as_built:
        said["as_built"] = _as_built(plan, pad, found.settings.pad_pitch, run.closes)
        notes += [f"as built: {check['words']}" for check in said["as_built"]["checks"]]
        notes.append(f"as built: {said['as_built']['verdict']}")
    surface = "the finished pad" if asked.as_built else "the ground"
    words = (
        f"levelled in the field on {surface}, {book.name}, from {sightings[0].station} at {asked.bench_height}: "
        "heights count from that mark"
    )
    read = dict(zip((stake.label for stake in measured.stakes), measured.height_m, strict=True))
    points = [_point(point, read.get(point.label), plan.design) for point in sheet.points]
    return replace(sheet, points=tuple(points), heights_words=words, notes=(*notes, *sheet.notes)), said


def _point(point: StakePoint, height: float | None, design: DesignPlane) -> StakePoint:
    """A stake with its measured height; one that was not read has none, since two height systems must not mix."""
    finish = None if point.finish_m is None else float(design.height(point.along_m, point.across_m))
    ground = None if height is None else float(height)
    cut = None if ground is None or finish is None else ground - finish
    return replace(point, ground_m=ground, finish_m=finish, cut_m=cut)


def _book(run: LevelRun, measured: measuring.MeasuredStakes) -> dict[str, Any]:
    return {
        "setups": run.setups,
        "misclosure_m": run.misclosure_m,
        "allowed_m": run.allowed_m,
        "closes": run.closes,
        "adjusted": run.adjusted,
        "verdict": run.verdict,
        "read_twice_spread_m": run.spreads_m(),
        "stakes_read": len(measured.stakes),
        "stakes_not_read": list(measured.open),
        "stations_not_used": list(measured.unused),
    }


def _plan(plan: measuring.MeasuredPlan, measured: measuring.MeasuredStakes) -> dict[str, Any]:
    natural, design = plan.natural, plan.design
    cut = [None if not np.isfinite(value) else float(value) for value in plan.cut_m]
    inside = [stake.label for stake, value in zip(measured.stakes, cut, strict=True) if value is not None]
    return {
        "level_m": design.level_m,
        "slope_along": design.slope_along,
        "slope_across": design.slope_across,
        "cut_m3": plan.cut_m3,
        "fill_m3": plan.fill_m3,
        "ground_slope_along": natural.slope_along,
        "ground_slope_across": natural.slope_across,
        "ground_off_plane_m": None if math.isnan(natural.rms_m) else natural.rms_m,
        "farthest_off_plane": {"stake": inside[natural.worst_index], "m": natural.worst_m},
        "stakes": {stake.label: value for stake, value in zip(measured.stakes, cut, strict=True)},
    }


def _as_built(
    plan: measuring.MeasuredPlan, pad: tuple[float, float], limit: float, closes: bool | None
) -> dict[str, Any]:
    checks = measuring.check_as_built(plan.natural, pad, limit)
    states = {check.state for check in checks}
    if closes is False:
        verdict = "not settled: the level run does not close, so level it again"
    elif "over" in states:
        verdict = "the pad is OVER the tolerance: grade it again where the sheet shows cut and fill"
    elif "undecided" in states:
        verdict = "not settled: too near the tolerance to tell, read more stakes"
    else:
        verdict = "the pad is within the tolerance"
    if closes is None:
        verdict += " (the level run was not closed on a known mark, so its own error is not checked)"
    return {
        "limit": limit,
        "verdict": verdict,
        "within": closes is not False and states == {"within"},
        "checks": [
            {"slope": c.slope, "standard_error": c.standard_error, "state": c.state, "words": c.words} for c in checks
        ],
    }
