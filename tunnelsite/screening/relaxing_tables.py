"""Compromises and relaxed limits as layers of `sites.gpkg`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from tunnelsite.core.amounts import in_unit
from tunnelsite.core.table import INTEGER, REAL, TEXT, Column, Table

if TYPE_CHECKING:
    from tunnelsite.screening.relaxing import Break, Relaxation, Step

BREAKS = {
    "breaks": Column(TEXT, "limits that it breaks, with the measure there"),
    "breaks_by": Column(REAL, "by how much it breaks the first of them, in the unit of that limit"),
}
RELAX_COLUMNS = {
    "rule": Column(TEXT, "limit that is relaxed, the others as they are"),
    "title": Column(TEXT, "what it is"),
    "unit": Column(TEXT, "unit of the limit"),
    "limit_value": Column(REAL, "the limit of the run"),
    "relaxed_to": Column(REAL, "the limit relaxed"),
    "more_placements": Column(INTEGER, "placements that would pass in addition"),
    "more_options": Column(INTEGER, "options there would be in addition"),
    "best_score": Column(REAL, "best steady score there would be", "0-100"),
}


def compromises_table(found: Relaxation, candidates: Table) -> Table:
    """Footprints that break a limit. Arguments: candidates, the table of the result `found.compromises`."""
    rows = [
        row | {"breaks": break_words(broken), "breaks_by": broken[0].measure - broken[0].judge.rubric.limit}
        for row, broken in zip(candidates.rows, found.breaks, strict=True)
    ]
    title = "Compromises: footprints that break a limit which may be relaxed, least bad first"
    columns = candidates.columns | BREAKS
    return Table("compromises", title, columns, rows, candidates.geometry, "Polygon", candidates.crs)


def break_words(broken: list[Break], *, feet: bool = False) -> str:
    """The limits that a compromise breaks, in words. Arguments: broken; feet, whether feet and inches come first."""
    parts = []
    for one in broken:
        rubric, about = one.judge.rubric, one.judge.criterion.description
        way = "below" if rubric.rises else "above"
        measure = in_unit(one.measure, about.unit, feet=feet, figures=".3g")
        parts.append(
            f"{about.title.lower()} {measure}, {way} the limit of {in_unit(rubric.limit, about.unit, feet=feet)}"
        )
    return "; ".join(parts)


def relax_table(steps: list[Step]) -> Table:
    """Every limit relaxed step by step."""
    return Table("relax", "What relaxing each limit would bring", RELAX_COLUMNS, [_row(step) for step in steps])


def _row(step: Step) -> dict[str, Any]:
    about = step.judge.criterion.description
    return {
        "rule": step.judge.id,
        "title": about.title,
        "unit": about.unit,
        "limit_value": step.judge.rubric.limit,
        "relaxed_to": step.value,
        "more_placements": step.placements,
        "more_options": step.options,
        "best_score": step.best_score,
    }
