"""What is known of each candidate: a row a candidate, and the columns that hold it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from tunnelsite.core.table import INTEGER, REAL, TEXT, Heading
from tunnelsite.core.wording import inside
from tunnelsite.scan import refine
from tunnelsite.scan.pitch_error import placement_errors, shows_pitch
from tunnelsite.scan.soils import soil_words
from tunnelsite.scan.steady import lowest_scores, rooms_to_shift, steady_marks
from tunnelsite.screening.surroundings import SURROUNDINGS_COLUMNS, surroundings

if TYPE_CHECKING:
    from tunnelsite.scan.engine import Scan
    from tunnelsite.screening.result import Result

CANDIDATE_COLUMNS = {
    "rank": Heading(INTEGER, "rank over the whole run, 1 = best"),
    "score": Heading(
        REAL,
        "steady score: 100 x the combined expected marks, one not known at the place counting half, mean over shifts of the house",
        "0-100",
    ),
    "parcel": Heading(TEXT, "parcel that holds the pad"),
    "rank_in_parcel": Heading(INTEGER, "rank inside the parcel"),
    "house": Heading(TEXT, "house size as given"),
    "width_m": Heading(REAL, "width of the house across the ridge", "m"),
    "length_m": Heading(REAL, "length of the house along the ridge", "m"),
    "bearing_deg": Heading(REAL, "bearing of the ridge, clockwise from true north at the spot", "deg"),
    "lon": Heading(REAL, "longitude of the centre, WGS 84", "deg"),
    "lat": Heading(REAL, "latitude of the centre, WGS 84", "deg"),
    "ground_m": Heading(REAL, "mean elevation of the natural ground under the footprint", "m"),
    "pitch_along_pct": Heading(
        REAL, "slope of the ground's plane along the ridge, + rises to the end it points to (east for 90)", "%"
    ),
    "pitch_across_pct": Heading(
        REAL, "slope of the ground's plane across the ridge, + rises to the left of the bearing (north for 90)", "%"
    ),
    "pitch_se_pct": Heading(REAL, "standard error of the steeper pitch: errors of heights, hidden ground", "%"),
    "relief_m": Heading(REAL, "highest minus lowest ground under the footprint", "m"),
    "roughness_m": Heading(REAL, "root mean square of the ground off its plane", "m"),
    "crown_m": Heading(REAL, "height of the middle above the long edges, + sheds water", "m"),
    "cut_m3": Heading(REAL, "cut to the pad's least-squares plane, its slopes clipped to the tolerance", "m3"),
    "fill_m3": Heading(REAL, "fill to that plane", "m3"),
    "max_cut_m": Heading(REAL, "deepest cut to that plane, by which the limit judges; `grading` may plan another", "m"),
    "max_fill_m": Heading(REAL, "highest fill to that plane", "m"),
    "pad_m2": Heading(REAL, "area of the graded pad: footprint plus apron", "m2"),
    "upslope_m2": Heading(REAL, "largest contributing area crossing the pad", "m2"),
    "ponding_m": Heading(REAL, "greatest depth of standing water on the pad", "m"),
    "beam_share": Heading(REAL, "beam energy of the crop months received / received with a flat horizon", "0-1"),
    "beam_share_worst": Heading(REAL, "the same in the crop month that loses most of its own, spot by spot", "0-1"),
    "worst_month": Heading(INTEGER, "that month of most of the footprint, 1 to 12; NULL where none loses 0.05 %"),
    "noon_clear_dec": Heading(REAL, "share of the footprint in sun at noon in midwinter", "0-1"),
    "drainage_height_m": Heading(REAL, "height above the stream, ditch or swale it drains to", "m"),
    "drainage_distance_m": Heading(REAL, "distance from the nearest such line, 200 m where none is nearer", "m"),
    "flow_beside_m2": Heading(REAL, "largest contributing area passing beside the pad; 0 = none of 1 ha or more", "m2"),
    "room_m": Heading(REAL, "how far it can move any way and still be offered with 95 % of its score, up to 30 m", "m"),
    "score_here": Heading(REAL, "score at the exact place", "0-100"),
    "score_lowest": Heading(REAL, "lowest score within the shift; 0 = a limit rejects there", "0-100"),
    "assessed_pct": Heading(REAL, "share of the weight that could be assessed", "%"),
    "not_assessed": Heading(TEXT, "what could not be assessed"),
    "wind_shelter": Heading(REAL, "shelter from the wind", "0-1"),
    "topographic_factor": Heading(REAL, "wind pressure over a hilltop or brow, 1 = as in the open (ASCE 7 Kzt)", "1"),
    "cold_pool_m": Heading(REAL, "depth of the cold-air pool the spot lies in", "m"),
    "valley_depth_m": Heading(REAL, "how much lower it lies than the mean of the land within 250 m", "m"),
    "night_lux": Heading(REAL, "night light from lamps", "lx"),
    "clearance_m": Heading(
        REAL,
        "distance from the house to the nearest structure; the rule (`--clearance`) is for the pad, which is an apron nearer",
        "m",
    ),
    **SURROUNDINGS_COLUMNS,
    "flags": Heading(TEXT, "what a reader should not miss"),
}
# What a model of wide cells cannot show of the ground under a house: its numbers would be those of the interpolation.
GROUND_COLUMNS = (
    "pitch_along_pct", "pitch_across_pct", "pitch_se_pct", "relief_m", "roughness_m", "crown_m", "cut_m3", "fill_m3", "max_cut_m",
    "max_fill_m",
)  # fmt: skip
UNKNOWN = "(not known here)"
NOTHING_LOST = 0.9995  # a month that keeps more of its sun than this is not worth a name
# Measures that are candidate columns under another name.
MEASURE_COLUMNS = {
    "drainage": "upslope_m2",
    "ponding": "ponding_m",
    "drainage_height": "drainage_height_m",
    "drainage_distance": "drainage_distance_m",
    "flow_beside": "flow_beside_m2",
    "sun": "beam_share_worst",
    "season_sun": "beam_share",
    "noon": "noon_clear_dec",
    "wind": "wind_shelter",
    "hilltop": "topographic_factor",
    "cold_air": "cold_pool_m",
    "low_ground": "valley_depth_m",
    "night_light": "night_lux",
}


def _described(result: Result, number: int, ranks: np.ndarray) -> list[dict[str, Any]]:
    """Everything about the ranked placements of one scan, by column. Arguments: number of the scan; ranks, int64 [n], of its own."""
    scan, choices = result.scans[number], [result.choices[rank - 1] for rank in ranks.tolist()]
    items, score = np.array([one.item for one in choices]), np.array([one.score for one in choices])
    settings = result.settings
    at = np.divmod(scan.index[items], scan.frame.grid.cols)
    columns = refine.where(scan, items) | refine.natural_ground(scan, items)
    columns |= refine.graded(scan, items, settings.pad_pitch, settings.shrink)
    columns |= {"clearance_m": refine.clearances(scan, items), "score": score}
    columns |= _steadiness(result, number, items, score)
    errors = placement_errors(scan.frame, scan.house, at, result.error_of(scan))
    soils = soil_words(scan.frame, refine.rectangles(scan, items, scan.pad))
    marks = steady_marks(scan, items, result.judges, settings.shift_m).known
    same = {"house": scan.house.name, "width_m": scan.house.width_m, "length_m": scan.house.length_m}
    same |= {"shows_ground": shows_pitch(scan.frame, scan.house)}
    lists = {name: values.tolist() for name, values in columns.items()}
    measured = _measures(result, scan, items, marks)
    rows = []
    for k, item in enumerate(items.tolist()):
        row = {"rank": int(ranks[k]), "parcel": scan.frame.parcel_names[scan.owner[item]], **same}
        row |= {name: values[k] for name, values in lists.items()}
        row |= {name: round(row[name], 4) for name in ("score", "score_here", "score_lowest")}
        row["clearance_m"] = row["clearance_m"] if np.isfinite(row["clearance_m"]) else None
        row["pitch_se_pct"] = errors[k].steeper_pct(row["pitch_along_pct"], row["pitch_across_pct"])
        row |= _assessed(result, marks[k]) | measured[k]
        lit = row.get("beam_share_worst")
        row["worst_month"] = None if lit is None or lit > NOTHING_LOST else refine.worst_month(scan, item)
        row["flags"] = refine.flags(scan, item, row, 100 * float(np.max(errors[k].both)), soils[k])
        rows.append(row)
        scan.frame.store.rest()
    return rows


def _measures(result: Result, scan: Scan, items: np.ndarray, marks: np.ndarray) -> list[dict[str, Any]]:
    """What the criteria measured at each candidate, and their marks; marks, float64 [n, criteria]."""
    rows: list[dict[str, Any]] = [{} for _ in items]
    for judge, mark in zip(result.judges, marks.T.tolist(), strict=True):
        name, weighs = judge.id, judge.rubric.weight > 0
        values = np.asarray(scan.measures[name][items], np.float64)
        scan.frame.store.rest()  # each value draws a stretch of its column into memory
        for row, value, known, one in zip(rows, values.tolist(), np.isfinite(values).tolist(), mark, strict=True):
            if name in MEASURE_COLUMNS:
                row[MEASURE_COLUMNS[name]] = value if known else None
            if name.startswith("reach_"):
                row[f"{name}_m"] = value
            if weighs:
                row[f"score_{name}"] = one
    return rows


def _steadiness(result: Result, number: int, items: np.ndarray, score: np.ndarray) -> dict[str, np.ndarray]:
    """What becomes of candidates that are moved a little."""
    scan, here, shift_m = result.scans[number], result.here[number], result.settings.shift_m
    return {
        "room_m": rooms_to_shift(scan, here, items, score),
        "score_here": here[items],
        "score_lowest": lowest_scores(scan, here, items, shift_m),
    }


def _assessed(result: Result, marks: np.ndarray) -> dict[str, Any]:
    """Share of the weight that could be assessed at a candidate, and what could not, in words. Arguments: marks by criterion."""
    weight = np.array([judge.rubric.weight for judge in result.judges])
    unknown = np.isnan(marks) & (weight > 0)
    missing = sum(gap.weight for gap in result.gaps)
    partly = sum(
        gap.weight for gap in result.gaps if gap.partly
    )  # is in the score, but of a part of what it should look at
    share = (weight[~unknown].sum() - partly) / (weight.sum() + missing - partly)
    here = [f"{inside(judge.criterion.description.title)} {UNKNOWN}"
            for judge, gone in zip(result.judges, unknown, strict=True) if gone]  # fmt: skip
    return {"assessed_pct": 100 * float(share), "not_assessed": "; ".join([*here, *(gap.words for gap in result.gaps)])}


def unknown_here(row: Mapping[str, Any]) -> list[str]:
    """Titles of the criteria that are not known at a candidate but may be elsewhere. Arguments: row, of `candidate_rows`."""
    texts = str(row["not_assessed"] or "").split("; ")
    return [text.removesuffix(UNKNOWN).strip() for text in texts if text.endswith(UNKNOWN)]


def candidate_rows(result: Result) -> list[dict[str, Any]]:
    """One row a ranked placement, best first."""
    rows, of = measured_rows(result), np.array([choice.scan for choice in result.choices], np.int64)
    for number in np.unique(of).tolist():
        mine = np.flatnonzero(of == number).tolist()
        items = np.array([result.choices[k].item for k in mine])
        ground_m = np.array([rows[k]["ground_m"] for k in mine])
        for k, around in zip(mine, surroundings(result, result.scans[number], items, ground_m), strict=True):
            rows[k] |= around
    return rows


def measured_rows(result: Result) -> list[dict[str, Any]]:
    """The same without what lies round them, see `surroundings`. What the elevation model cannot show is None."""
    of = np.array([choice.scan for choice in result.choices], np.int64)
    found = [_described(result, number, np.flatnonzero(of == number) + 1) for number in np.unique(of).tolist()]
    rows = sorted((row for part in found for row in part), key=lambda row: row["rank"])
    seen: dict[str, int] = {}
    for row in rows:
        seen[row["parcel"]] = row["rank_in_parcel"] = seen.get(row["parcel"], 0) + 1
    return [row if row["shows_ground"] else row | dict.fromkeys(GROUND_COLUMNS) for row in rows]


def candidate_columns(result: Result) -> dict[str, Heading]:
    """The columns of the contract with the services and criteria of this run in their places."""
    columns: dict[str, Heading] = {}
    for name, column in CANDIDATE_COLUMNS.items():
        if name == "night_lux":
            for service in result.site.services:
                title = f"straight distance from the footprint to the nearest {service}"
                columns[f"reach_{service}_m"] = Heading(REAL, title, "m")
        columns[name] = column
    for judge in result.judges:
        if judge.rubric.weight > 0:
            columns[f"score_{judge.id}"] = Heading(REAL, f"marks for: {judge.criterion.description.title}", "0-1")
    return columns
