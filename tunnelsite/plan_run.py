"""The run table of what follows a screening: inputs, settings, notes, versions and cautions."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from tunnelsite.cautions import CAUTIONS
from tunnelsite.core.site import Site
from tunnelsite.core.table import Table
from tunnelsite.run_table import RUN_COLUMNS, input_rows, stamp, version_rows


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
