"""Compromises and relaxed limits as layers of `sites.gpkg`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from tunnelsite.core.amounts import in_unit
from tunnelsite.core.table import INTEGER, REAL, TEXT, Heading, Table, table_of
from tunnelsite.core.wording import inside

if TYPE_CHECKING:
    from tunnelsite.screening.relaxing import Break, Relaxation, Step

BREAKS = {
    "breaks": Heading(TEXT, "limits that it breaks, with the measure there"),
    "breaks_by": Heading(REAL, "by how much it breaks the first of them, in the unit of that limit"),
}
RELAX_COLUMNS = {
    "rule": Heading(TEXT, "limit that is relaxed, the others as they are"),
    "title": Heading(TEXT, "what it is"),
    "unit": Heading(TEXT, "unit of the limit"),
    "limit_value": Heading(REAL, "the limit of the run"),
    "relaxed_to": Heading(REAL, "the limit relaxed"),
    "more_placements": Heading(INTEGER, "placements that would pass in addition"),
    "more_options": Heading(INTEGER, "options there would be in addition"),
    "best_score": Heading(REAL, "best steady score there would be", "0-100"),
}


def compromises_table(found: Relaxation, candidates: Table) -> Table:
    """Footprints that break a limit. Arguments: candidates, the table of the result `found.compromises`."""
    feet = any(scan.house.feet for scan in found.compromises.scans)
    rows = [
        row | {"breaks": break_words(broken, feet=feet), "breaks_by": broken[0].measure - broken[0].limit}
        for row, broken in zip(candidates.rows, found.breaks, strict=True)
    ]
    title = "Compromises: footprints that break a limit which may be relaxed, least bad first"
    columns = candidates.headings | BREAKS
    return table_of("compromises", title, columns, rows, candidates.places)


def break_words(broken: list[Break], *, feet: bool) -> str:
    """The limits that a compromise breaks, in words. Arguments: broken; feet, whether feet and inches come first."""
    parts = []
    for one in broken:
        rubric, about = one.judge.rubric, one.judge.criterion.description
        way = "below" if rubric.rises else "above"
        measure = in_unit(one.measure, about.unit, feet=feet, figures=".3g")
        parts.append(f"{inside(about.title)} {measure}, {way} the limit of {in_unit(one.limit, about.unit, feet=feet)}")
    return "; ".join(parts)


def relax_table(steps: list[Step]) -> Table:
    """Every limit relaxed step by step."""
    return table_of("relax", "What relaxing each limit would bring", RELAX_COLUMNS, [_row(step) for step in steps])


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
