"""`cost`: what the work at one or several candidates costs, at the user's own unit prices."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from tunnelsite.core.errors import UsageError
from tunnelsite.hosts.cli.arguments import check_ending
from tunnelsite.hosts.cli.inputs_named import inputs_named
from tunnelsite.hosts.cli.progress import Progress
from tunnelsite.hosts.cli.project_values import check_screened, project_values
from tunnelsite.hosts.cli.ranking import ranks_of
from tunnelsite.hosts.cli.setting_options import settings_asked
from tunnelsite.hosts.cli.stakeout import without_outputs
from tunnelsite.hosts.cli.streams import answer

OF_THE_PLACE = ("house", "bearing")  # of each candidate, not of the settings


def cost(given: argparse.Namespace) -> int:
    """Work out the quantities of work at candidates and what they cost, and write the table."""
    from tunnelsite.io.read.site import inputs_unchanged, site_from
    from tunnelsite.io.write.outputs import reserved_outputs
    from tunnelsite.plans.cost.plan import FILES
    from tunnelsite.plans.cost.plan import cost as costed
    from tunnelsite.plans.cost.settings import CostSettings
    from tunnelsite.plans.plan import named_files
    from tunnelsite.screening.option import option
    from tunnelsite.settings.model import settings_from

    everything = without_outputs(project_values(given))
    settings = settings_from(everything)  # wrong settings are refused before anything is read
    asked, ranks = settings_asked(given, CostSettings), ranks_of(given.ranks)
    if given.sites is None:
        raise UsageError(
            "no screening was named", "the GeoPackage of a screening", "write: tunnelsite cost sites.gpkg --ranks 1,2"
        )
    out = Path(given.out)
    check_ending("--out", out, ".csv")
    outputs = named_files(out.with_suffix(""), FILES) | {"cost": out}
    progress = Progress(quiet=given.quiet)
    with reserved_outputs(outputs, inputs_named(given, everything), overwrite=bool(given.overwrite)):
        progress("reading", 0.0)
        own = {name: value for name, value in everything.items() if name not in OF_THE_PLACE}
        places = [option(given.sites, rank).with_settings(own) for rank in ranks]
        site = site_from(settings)
        check_screened(given, site)
        plan = costed(site, places, asked, progress)
        inputs_unchanged(site)
        plan.write_to(outputs, overwrite=bool(given.overwrite))
        progress("writing", 1.0)
    summary = plan.summary | {"outputs": {name: str(path) for name, path in outputs.items()}}
    answer(summary, _words, as_json=given.json)
    return 0


def _words(summary: dict[str, Any]) -> str:
    from tunnelsite.plans.cost.words import cost_lines, total_words, unknown_words

    lines = []
    for one in summary["options"]:
        lines.append(f"{one['title']}:")
        for item in cost_lines(one):
            known = f" ({item.note})" if item.quantity == "not known" else ""
            lines.append(
                f"  {item.title}: {item.quantity}{known}{f' at {item.price}: {item.cost}' if item.cost else ''}"
            )
        if one["total"] is not None:
            lines.append(f"  in all {total_words(one)}")
        if unknown_words(one):
            lines.append(f"  {unknown_words(one)}")
        if one["without_price"]:
            lines.append(f"  no price was given for {', '.join(one['without_price'])}")
    lines += [f"note: {text}" for text in summary["notes"]]
    lines += [f"caution: {text}" for text in summary["cautions"]]
    lines += [f"written: {path}" for path in summary["outputs"].values()]
    return "\n".join(lines)
