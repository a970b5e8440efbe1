"""A run looked at beforehand: what its inputs hold, what would be refused, what it would cost."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tunnelsite.core.wording import inside
from tunnelsite.hosts.cli.streams import answer

if TYPE_CHECKING:
    from tunnelsite.core.site import Site
    from tunnelsite.scan.engine import Judge
    from tunnelsite.settings.model import Settings


def dry_run(settings: Settings, files: tuple[Mapping[str, Path], Sequence[str]], *, as_json: bool) -> int:
    """Check everything, say what was assumed and what the run will cost; judge and write nothing.

    Arguments: settings; files, (outputs by option, inputs). Errors: whatever the run would refuse; ResourceShortage once the
    cost is given.
    """
    from tunnelsite.core.errors import ResourceShortage
    from tunnelsite.io.read.site import site_from
    from tunnelsite.io.write.outputs import refuse_clashes
    from tunnelsite.io.write.staging import check_output_path
    from tunnelsite.screening.judges import judges_of
    from tunnelsite.screening.run_cost import refuse_shortage

    outputs, inputs = files
    refuse_clashes(outputs, inputs)
    for path in outputs.values():
        if path.parent.exists() or not settings.rasters or path.parent != Path(settings.rasters):
            check_output_path(path, overwrite=settings.overwrite)
    site = site_from(settings)
    skipped: list[str] = []
    judges = judges_of(site, settings, settings.kind, skipped.append)
    short = None
    try:
        refuse_shortage(site, settings, len(judges))
    except ResourceShortage as problem:
        short = problem
    plan = _plan(site, settings, judges, skipped, whole=short is None)
    answer(plan, _words, as_json=as_json)
    if short is not None:
        raise short
    return 0


def _plan(
    site: Site, settings: Settings, judges: list[Judge], skipped: Sequence[str], *, whole: bool
) -> dict[str, Any]:
    """What a run would do. Arguments: skipped, words on criteria that are left out; whole, whether there is room to look at the data."""
    from tunnelsite.screening.checking import Checked, checked
    from tunnelsite.screening.not_assessed import gaps
    from tunnelsite.screening.run_cost import estimated, work_of

    grid, work = work_of(site, settings, len(judges))
    cost = estimated(work)
    found = checked(site, settings) if whole else Checked([], [])
    return {
        "doubts": found.doubts,
        "grid": {"rows": grid.rows, "cols": grid.cols, "cell_m": grid.cell_m},
        "bearings_deg": settings.bearings,
        "houses": [house.name for house in settings.houses],
        "criteria": [judge.id for judge in judges if judge.rubric.weight > 0],
        "titles": {judge.id: judge.criterion.description.title for judge in judges},
        "limits": [judge.id for judge in judges if judge.rubric.limit is not None],
        "placements": cost.placements,
        "estimated_seconds": round(cost.seconds, 1),
        "estimated_seconds_range": [round(value, 1) for value in cost.seconds_range],
        "estimated_memory_bytes": cost.memory_bytes,
        "estimated_scratch_bytes": cost.scratch_bytes,
        "not_assessed": [gap.words for gap in gaps(site, settings, judges, lambda _: None)],
        "assumed": list(dict.fromkeys([*found.notes, *skipped])),
    }


def _words(plan: Mapping[str, Any]) -> str:
    """The plan for people."""
    grid, (low, high) = plan["grid"], plan["estimated_seconds_range"]
    lines = [f"DOUBT: {text}" for text in plan["doubts"]]
    lines += [
        f"grid: {grid['rows']} x {grid['cols']} cells of {grid['cell_m']:g} m; ridge bearings "
        f"{', '.join(f'{bearing:g}' for bearing in plan['bearings_deg'])}",
        f"houses: {', '.join(plan['houses'])}; about {plan['placements']:,} placements",
        f"criteria: {_titled(plan, 'criteria')}; limits: {_titled(plan, 'limits')}",
        f"cost: about {plan['estimated_seconds']:.0f} s ({low:.0f} to {high:.0f} s; a minute more where the kernels are compiled for the "
        f"first time), {plan['estimated_memory_bytes'] / 1e9:.1f} GB of memory, {plan['estimated_scratch_bytes'] / 1e9:.1f} GB of "
        "scratch files",
        *(f"not assessed: {text}" for text in plan["not_assessed"]),
    ]
    return "\n".join(
        [*lines, *([f"assumed or found: {text}" for text in plan["assumed"]] or ["nothing had to be assumed"])]
    )


def _titled(plan: Mapping[str, Any], name: str) -> str:
    """Criteria by title. Arguments: plan; name, of the list of their ids."""
    titles = plan["titles"]
    return ", ".join(inside(titles[one]) for one in plan[name])
