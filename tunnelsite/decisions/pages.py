"""Pages on criteria and processes, written from their own descriptions."""

from __future__ import annotations

from collections.abc import Sequence

from tunnelsite.core.criterion import Criterion
from tunnelsite.core.process import Process


def criteria_page(criteria: Sequence[Criterion]) -> str:
    """`docs/criteria.md`."""
    lines = ["# Criteria", "", "Written from the catalogue; change the descriptions, not this page.", ""]
    for item in criteria:
        about = item.description
        lines += [f"## {about.id}", "", f"**{about.title}** [{about.unit}]. {about.text} Source: {about.source}.", ""]
        for kind, r in item.rubrics.items():
            limit = "no limit" if r.limit is None else f"limit {r.limit:g}"
            lines.append(f"- {kind}: full marks at {r.full_at:g}, none at {r.none_at:g}, {limit}, weight {r.weight:g}")
        lines += [*_parameters(about), ""]
    return "\n".join(lines)


def processes_page(processes: Sequence[Process]) -> str:
    """`docs/processes.md`."""
    lines = ["# Processes", "", "Written from the catalogue; change the descriptions, not this page.", ""]
    for item in processes:
        about = item.description
        lines += [f"## {about.id}", "", f"**{about.title}**. {about.text} Source: {about.source}.", ""]
        lines += [f"- reads {s.id} [{s.unit}]: {s.title}" for s in about.reads]
        lines += [f"- makes {s.id} [{s.unit}]: {s.title}" for s in about.makes]
        lines += [*_parameters(about), ""]
    return "\n".join(lines)


def _parameters(about) -> list[str]:
    return [f"- parameter {p.id} = {p.default} {p.unit}: {p.title}" for p in about.parameters]
