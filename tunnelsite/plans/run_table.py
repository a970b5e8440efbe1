"""The run table of what follows a screening: inputs, settings, notes, versions and cautions."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from tunnelsite.core.site import Site
from tunnelsite.core.table import Table
from tunnelsite.screening.run_table import input_rows, setting_rows, whole_run_table
from tunnelsite.settings.model import Settings

MOST_NOTES = 200


def plan_run_table(
    site: Site,
    settings: Mapping[str, Any],
    notes: Iterable[str],
    cautions: Sequence[str] = (),
    sources: Iterable[tuple[str, str]] = (),
) -> Table:
    """The run table of a plan.

    Arguments: site; settings by name; notes, what was found or assumed; cautions beyond the usual ones;
    sources, (name, SHA-256) of the files read beside those of the site.
    """
    rows = input_rows(site)
    rows += [{"kind": "input", "name": name, "value": f"sha256 {digest}"} for name, digest in sources]
    rows += [
        {"kind": "setting", "name": name, "value": str(value)} for name, value in settings.items() if value is not None
    ]
    rows += [{"kind": "note", "name": "plan", "value": text} for text in dict.fromkeys(notes)]
    return whole_run_table(rows, cautions)


def region_run_table(
    inputs: Iterable[tuple[str, str]], settings: Settings, plan: Mapping[str, Any], notes: Iterable[str]
) -> Table:
    """The run table of a region.

    Arguments: inputs as (name, SHA-256); settings of every task; plan, how the region was divided; notes of the tasks, of which
    the first `MOST_NOTES` different ones are listed (the rest are in the tasks table).
    """
    rows: list[dict[str, Any]] = [
        {"kind": "input", "name": name, "value": f"sha256 {digest}"} for name, digest in inputs
    ]
    rows += setting_rows(settings.model_copy(update={"top": plan["top"]}))
    rows += [
        {"kind": "setting", "name": name, "value": str(value)}
        for name, value in plan.items()
        if name != "top" and value is not None
    ]
    rows += [{"kind": "note", "name": "tasks", "value": text} for text in list(dict.fromkeys(notes))[:MOST_NOTES]]
    return whole_run_table(rows)
