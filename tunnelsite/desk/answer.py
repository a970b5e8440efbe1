"""The answer of a screening as the page shows it: options in words and on the map, what was not assessed, what was rejected and why."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from tunnelsite.core.amounts import relaxed
from tunnelsite.core.cautions import CAUTIONS
from tunnelsite.core.counting import counted
from tunnelsite.core.table import Table
from tunnelsite.decisions.criterion_words import criterion_words
from tunnelsite.desk.measures import Units
from tunnelsite.desk.outline import house_outline
from tunnelsite.desk.page_words import on_the_page
from tunnelsite.desk.plain import plain, plain_title
from tunnelsite.report.plain_words import plain_flags, plain_sentence
from tunnelsite.scan import refine
from tunnelsite.scan.firmness.drawn_words import drawn_words
from tunnelsite.scan.firmness.ties import undecided
from tunnelsite.scan.firmness.verdict import verdict_record
from tunnelsite.screening.candidate_rows import unknown_here
from tunnelsite.screening.may_be import bed_left_out_words, far_behind_words, may_be_words
from tunnelsite.screening.not_assessed import unseen_words, where_unknown
from tunnelsite.screening.result import Result
from tunnelsite.screening.run_table import DOUBT, VERDICT

IN_WORDS = (
    "pitch",
    "deepest_cut",
    "drainage",
    "ponding",
    "drainage_height",
    "sun",
    "soils",
)  # of each option, in this order


@dataclass(frozen=True)
class Told:
    """How an answer came to be: run, its id; first_look, of a coarse grid; what_if, not kept; took_s [s]."""

    run: str
    took_s: float
    first_look: bool = False
    what_if: bool = False


def answer_of(result: Result, told: Told, units: Units) -> dict[str, Any]:
    """A result as the message `Answer`. Its tables are made here; the verdict is told where it is exact."""
    tables = result.tables
    firm = not (told.first_look or told.what_if) and bool(result.choices)
    verdict = verdict_record(result.verdict) if firm and result.verdict is not None else None
    options = [_option(result, row, units) for row in result.rows]
    if firm:
        for option in options:
            drawn = drawn_words(result, result.rank_shares, option["rank"])
            option["words"] += [drawn] if drawn else []
    unknown = where_unknown({str(row["rank"]): unknown_here(row) for row in result.rows})
    shares = [row["assessed_pct"] for row in result.rows]
    return {
        "run": told.run,
        "first_look": told.first_look,
        "what_if": told.what_if,
        "first_look_words": _coarse_words(result, units) if told.first_look else "",
        "took_s": round(told.took_s, 2),
        "headline": [
            *(on_the_page(words) for words in result.doubts),
            _headline(result),
            *may_be_words(result.rows),
            *far_behind_words(result.rows),
            *(on_the_page(words) for words in bed_left_out_words(tables["rejections"].rows)),
        ],
        "verdict": verdict and {"word": verdict["words"], "words": plain_sentence(verdict["sentence"])},
        "undecided": undecided(result),
        "not_assessed": [*unknown, *(on_the_page(gap.words) for gap in result.gaps)],
        "assessed_pct": min(shares) if shares else None,
        "options": options,
        "compromises": _compromises(result, units),
        "relax": [_relax_words(row, units) for row in (tables["relax"].rows if "relax" in tables else [])],
        "rejections": rejections(result),
        "notes": _notes(tables["run"]),
        "cautions": list(CAUTIONS),
        "settings": result.settings.model_dump(by_alias=True, mode="json", exclude_none=True),
        "placements": {"tried": _tried(result), "passed": sum(len(scan.index) for scan in result.scans)},
    }


def _option(result: Result, row: Mapping[str, Any], units: Units, breaks: str = "") -> dict[str, Any]:
    choice = result.choices[row["rank"] - 1]
    scan = result.scans[choice.scan]
    _, _, along, across = refine.placement(scan, choice.item)
    words = [
        criterion_words(judge.criterion, judge.rubric, _known(scan.measures[judge.id][choice.item]), row, feet=units.feet,
                      unseen=unseen_words(judge.criterion, result.gaps))
        for name in IN_WORDS
        for judge in result.judges
        if judge.id == name
    ]  # fmt: skip
    if row["flags"]:
        words.append(f"Do not miss: {plain_flags(row['flags'])}")
    place = {"lon": row["lon"], "lat": row["lat"], "bearing_deg": scan.frame.grid.bearing_deg, "house": row["house"]}
    return {
        "rank": row["rank"],
        "score": row["score"],
        "place": place,
        "parcel": row["parcel"],
        "words": words,
        "room_m": row["room_m"],
        "breaks": breaks,
        "columns": {name: plain(value) for name, value in row.items()},
    } | house_outline(scan.frame.grid, (along, across), scan.house, scan.pad)


def _known(value: Any) -> float | None:
    return float(value) if np.isfinite(value) else None


def _headline(result: Result) -> str:
    tried, passed = _tried(result), sum(len(scan.index) for scan in result.scans)
    if not result.choices:
        return f"No place passes every rule: {tried:,} placements tried."
    count = len(result.choices)
    places = f"{count} place{'s' * (count > 1)}, the best"
    return f"{places} of {passed:,} that pass every rule ({tried:,} placements tried)."


def _tried(result: Result) -> int:
    return sum(int(scan.ground.inside.sum()) for scan in result.scans)


def _coarse_words(result: Result, units: Units) -> str:
    cell = units.away(result.frame.grid.cell_m)
    return f"First look, on cells of {cell}: places and scores will change a little when the exact answer is here."


def _compromises(result: Result, units: Units) -> list[dict[str, Any]]:
    if result.relaxation is None or not result.relaxation.compromises.choices:
        return []
    breaks = [row["breaks"] for row in result.tables["compromises"].rows]
    other = result.relaxation.compromises
    return [_option(other, row, units, words) for row, words in zip(other.rows, breaks, strict=True)]


def _relax_words(row: Mapping[str, Any], units: Units) -> dict[str, Any]:
    said = relaxed(row["relaxed_to"], row["limit_value"], row["unit"], feet=units.feet)
    more = counted(row["more_placements"], "more placement"), counted(row["more_options"], "more option")
    words = f"{row['title']} {said}: {', '.join(more)}"
    return {"rule": row.get("rule", ""), "title": row["title"], "words": words}


def rejections(result: Result) -> list[dict[str, Any]]:
    """What each rule took over the whole farm, most first."""
    titles = {judge.id: judge.criterion.description.title for judge in result.judges}
    counts: dict[str, int] = {}
    for row in result.tables["rejections"].rows:
        counts[row["rule"]] = counts.get(row["rule"], 0) + int(row["rejected"])
    return [
        {
            "rule": rule,
            "title": plain_title(rule, titles),
            "placements": count,
            "words": f"{plain_title(rule, titles)}: {count:,} placements",
        }
        for rule, count in sorted(counts.items(), key=lambda item: -item[1])
        if count
    ]


def _notes(run: Table) -> list[str]:
    notes = [row["value"] for row in run.rows if row["kind"] == "note" and row["name"] not in (DOUBT, VERDICT)]
    return list(dict.fromkeys(on_the_page(words) for words in notes))
