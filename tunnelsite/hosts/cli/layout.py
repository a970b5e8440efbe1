"""`layout`: the best block of several houses on the open ground of a screening, with trenches to the services."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from tunnelsite.hosts.cli.arguments import check_ending
from tunnelsite.hosts.cli.inputs_named import inputs_named
from tunnelsite.hosts.cli.progress import Progress
from tunnelsite.hosts.cli.project_values import check_screened, project_values
from tunnelsite.hosts.cli.setting_options import settings_asked
from tunnelsite.hosts.cli.stakeout import OWN_OUTPUTS
from tunnelsite.hosts.cli.streams import answer

if TYPE_CHECKING:
    from tunnelsite.plans.layout.settings import LayoutSettings
    from tunnelsite.settings.model import Settings


def layout(given: argparse.Namespace) -> int:
    """Screen, choose the best block of houses and write it."""
    from tunnelsite.io.write.outputs import reserved_outputs
    from tunnelsite.settings.model import settings_from

    values = {name: value for name, value in project_values(given).items() if name not in OWN_OUTPUTS}
    settings = settings_from(values)
    asked = _asked(given, settings)
    out = Path(given.out)
    check_ending("--out", out, ".gpkg")
    outputs = {"--out": out, "picture": out.with_suffix(".svg")}
    progress = Progress(quiet=given.quiet)
    with reserved_outputs(outputs, inputs_named(given, values), overwrite=bool(given.overwrite)):
        from tunnelsite.io.read.site import inputs_unchanged, site_from
        from tunnelsite.plans.layout.plan import lay_out
        from tunnelsite.plans.layout.words import layout_words

        progress("reading", 0.0)
        site = site_from(settings)
        check_screened(given, site)
        plan = lay_out(site, asked, screening=settings, progress=progress)
        inputs_unchanged(site)
        plan.write_to({"layers": out, "map": outputs["picture"]}, overwrite=bool(given.overwrite))
        progress("writing", 1.0)
    told = plan.summary | {"output": str(out), "picture": str(outputs["picture"])}
    answer(told, lambda told: layout_words(told, feet=any(house.feet for house in settings.houses)), as_json=given.json)
    return 0


def _asked(given: argparse.Namespace, settings: Settings) -> LayoutSettings:
    """What the options ask of the block. Errors: UsageError."""
    from tunnelsite.plans.layout.settings import LayoutSettings

    asked = settings_asked(given, LayoutSettings, {"price": settings.price or None})
    asked.check(settings, settings.service)
    return asked
