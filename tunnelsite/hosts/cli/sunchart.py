"""`sunchart`: the horizon, the sun's paths and the light at one point."""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tunnelsite.core.errors import UsageError
from tunnelsite.core.units import number
from tunnelsite.hosts.cli.arguments import check_ending
from tunnelsite.hosts.cli.inputs_named import inputs_named
from tunnelsite.hosts.cli.progress import Progress
from tunnelsite.hosts.cli.project_values import check_screened, project_values
from tunnelsite.hosts.cli.setting_options import settings_asked
from tunnelsite.hosts.cli.streams import answer

if TYPE_CHECKING:
    from tunnelsite.core.placement import Placement


def sunchart(given: argparse.Namespace) -> int:
    """Draw the sun chart of a point (or of a candidate of a screening) and write what was asked for."""
    from tunnelsite.io.read.site import inputs_unchanged, site_from
    from tunnelsite.io.write.outputs import reserved_outputs
    from tunnelsite.plans.sunchart.plan import sun_chart
    from tunnelsite.plans.sunchart.settings import SunChartSettings
    from tunnelsite.plans.sunchart.words import summary_lines
    from tunnelsite.settings.model import settings_from

    values = project_values(given)
    settings_from(values)
    asked, outputs, place = settings_asked(given, SunChartSettings), _outputs(given), _place(given, values)
    progress = Progress(quiet=given.quiet)
    with reserved_outputs(outputs, inputs_named(given, values), overwrite=bool(given.overwrite)):
        if given.field_horizon is not None:
            from tunnelsite.io.read.field_horizon import read_field_readings

            asked = replace(asked, field_horizon=read_field_readings(given.field_horizon))
        progress("reading", 0.0)
        site = site_from(settings_from(dict(place.settings)))
        check_screened(given, site)
        plan = sun_chart(site, place, asked, progress)
        inputs_unchanged(site)
        contents = {{"svg": "chart", "png": "chart_png"}.get(name, name): path for name, path in outputs.items()}
        plan.write_to(contents, overwrite=bool(given.overwrite))
        progress("writing", 1.0)
    told = plan.summary | {"outputs": {name: str(path) for name, path in outputs.items()}}
    answer(told, lambda told: "\n".join(summary_lines(told)), as_json=given.json)
    return 0


def _outputs(given: argparse.Namespace) -> dict[str, Path]:
    from tunnelsite.plans.plan import named_files
    from tunnelsite.plans.sunchart.plan import FIELD_FILES, FILES

    found = {"svg": Path(given.out)}
    check_ending("--out", found["svg"], ".svg")
    if given.png is not None:
        from tunnelsite.drawing.png import require_png

        require_png()
        found["png"] = Path(given.png)
    if given.csv is not None:
        stem = Path(given.csv)
        stem = stem.with_suffix("") if stem.suffix.lower() == ".csv" else stem
        endings = FILES if given.field_horizon is None else FIELD_FILES
        found |= named_files(stem, {name: ending for name, ending in endings.items() if name != "chart"})
    return found


def _place(given: argparse.Namespace, values: dict[str, Any]) -> Placement:
    """The point of `--at` or the centre of a candidate, with the settings of its screening below those given. Errors: UsageError."""
    from tunnelsite.core.placement import Placement
    from tunnelsite.screening.option import option
    from tunnelsite.settings.model import settings_from

    if (given.at is None) == (given.rank is None):
        raise UsageError(
            "neither or both of --at and --rank were given",
            "a point LON LAT or the rank of a candidate",
            "give one of them",
        )
    settings = settings_from(values)
    if given.at is not None:
        lon, lat = (number(part, "--at") for part in given.at)
        title = given.title or f"Point {lon:.5f}, {lat:.5f}"
        return Placement(lon, lat, settings.bearing_deg, settings.houses[0], title).with_settings(values)
    if given.sites is None:
        raise UsageError(
            "--rank without a screening",
            "the GeoPackage of a screening",
            "write: tunnelsite sunchart sites.gpkg --rank 1",
        )
    place = option(given.sites, given.rank)
    bearing = place.bearing_deg if given.bearing is None else settings.bearing_deg
    own = {name: value for name, value in values.items() if name != "house"}
    return replace(place, title=given.title or place.title, bearing_deg=bearing).with_settings(own)
