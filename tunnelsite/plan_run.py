"""The run table of what follows a screening: inputs, settings, notes, versions and cautions."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from tunnelsite.cautions import CAUTIONS
from tunnelsite.core.site import Site
from tunnelsite.core.table import Table
from tunnelsite.run_table import RUN_COLUMNS, input_rows, setting_rows, stamp, version_rows
from tunnelsite.settings import Settings

MOST_NOTES = 200


def plan_run_table(
    site: Site, settings: Mapping[str, Any], notes: Iterable[str], cautions: Sequence[str] = ()
) -> Table:
    """The run table of a plan.

    Arguments: site; settings by name; notes, what was found or assumed; cautions beyond the usual ones.
    """
    rows: list[dict[str, Any]] = [{"kind": "run", "name": "finished", "value": stamp(), "detail": "UTC"}]
    rows += input_rows(site)
    rows += [
        {"kind": "setting", "name": name, "value": str(value)} for name, value in settings.items() if value is not None
    ]
    rows += [{"kind": "note", "name": "plan", "value": text} for text in dict.fromkeys(notes)]
    rows += version_rows()
    said = dict.fromkeys([*CAUTIONS, *cautions])
    rows += [{"kind": "caution", "name": f"caution {k}", "value": text} for k, text in enumerate(said, 1)]
    return Table("run", "Inputs, settings, versions, assumptions and cautions", RUN_COLUMNS, rows)


def region_run_table(
    inputs: Iterable[tuple[str, str]], settings: Settings, plan: Mapping[str, Any], notes: Iterable[str]
) -> Table:
    """The run table of a region.

    Arguments: inputs as (name, SHA-256); settings of every task; plan, how the region was divided; notes of the tasks, of which
    the first `MOST_NOTES` different ones are told (the rest stands in the tasks table).
    """
    rows: list[dict[str, Any]] = [{"kind": "run", "name": "finished", "value": stamp(), "detail": "UTC"}]
    rows += [{"kind": "input", "name": name, "value": f"sha256 {digest}"} for name, digest in inputs]
    rows += setting_rows(settings.model_copy(update={"top": plan["top"]}))
    rows += [
        {"kind": "setting", "name": name, "value": str(value)}
        for name, value in plan.items()
        if name != "top" and value is not None
    ]
    rows += [{"kind": "note", "name": "tasks", "value": text} for text in list(dict.fromkeys(notes))[:MOST_NOTES]]
    rows += version_rows()
    rows += [{"kind": "caution", "name": f"caution {k}", "value": text} for k, text in enumerate(CAUTIONS, 1)]
    return Table("run", "Inputs, settings, versions, assumptions and cautions", RUN_COLUMNS, rows)
