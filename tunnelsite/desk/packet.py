"""The packet of the pinned places: plans, page, GPX and GeoPackage in one folder that can be sent by mail."""

from __future__ import annotations

import contextlib
import html
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from tunnelsite.core import catalogue
from tunnelsite.core.cautions import CAUTIONS
from tunnelsite.core.errors import TunnelsiteError
from tunnelsite.core.grid import transformer
from tunnelsite.core.house import House
from tunnelsite.core.placement import Placement
from tunnelsite.core.site import Site
from tunnelsite.desk.project import FARM, Project
from tunnelsite.desk.screening import KEPT
from tunnelsite.io.read.site import site_from
from tunnelsite.io.read.stored import read_layers
from tunnelsite.io.write.handover import write_handover
from tunnelsite.io.write.staging import write_whole
from tunnelsite.io.write.whole_folder import whole_folder
from tunnelsite.plans.sunchart.view import sun_view
from tunnelsite.report.candidate_study import studied
from tunnelsite.report.page import PageAsk, report_page
from tunnelsite.scan.ranking import Choice
from tunnelsite.screening.kept_run import kept_run
from tunnelsite.screening.result import Result
from tunnelsite.settings.model import settings_from

NEAR_M = 1.0  # a pin so near to a placement of the run is that placement
SAME_DEG = 0.25
PLANS = ("sun_chart", "grade", "stake_out")  # those that a packet holds
Says = Callable[[float, str], None]


@dataclass(frozen=True)
class Written:
    """One thing of the packet: title and file beside the index, or why it could not be made."""

    title: str
    file: str = ""
    reason: str = ""


def write_packet(project: Project, run: str, pins: Sequence[Mapping[str, Any]], name: str, says: Says) -> Path:
    """Write the packet of some pins beside its place and put it there.

    Arguments: project; run, the kept run that they come from; pins; name of the folder below `packet`; says, is told (share, words).
    Return: the folder. Errors: OutputFailed, and those of the readers; nothing half is left.
    """
    target = project.packet / name
    with whole_folder(target) as part:
        pieces = list(_pieces(project, run, pins, (part, says)))
        write_whole(part / "index.html", _index(project, pins, pieces), overwrite=False)
    says(1.0, "the packet is written")
    return target


def _pieces(project: Project, run: str, pins: Sequence[Mapping[str, Any]], to: tuple[Path, Says]) -> Iterator[Written]:
    """Write one thing after the other."""
    folder, says = to
    says(0.02, "reading the run")
    result = kept_run(project.runs / run / KEPT)
    site = site_from(settings_from(project.values()))
    says(0.1, "reading the land")
    kinds = [kind for kind in catalogue.plans() if kind.id in PLANS]
    steps = len(pins) * len(kinds) + 2
    for number, pin in enumerate(pins):
        place = placement_of(pin, result)
        for step, kind in enumerate(kinds):
            says(0.1 + 0.6 * (number * len(kinds) + step) / steps, f"{kind.title.lower()} of {pin['letter']}")
            yield from _plan(kind, site, place, (folder, pin["letter"]))
    listed = _listed(result, pins)
    says(0.75, "the page")
    yield from _page(project, (listed, site), folder)
    says(0.92, "GeoPackage and GPX")
    yield from _layers(listed, folder)
    write_whole(folder / FARM, (project.runs / run / FARM).read_bytes(), overwrite=False)
    yield Written("Settings of the run (project file)", FARM)


def placement_of(pin: Mapping[str, Any], result: Result) -> Placement:
    """The placement of a pin, with the settings of the run."""
    place, settings = pin["place"], result.settings
    parsed = House.parse(place["house"], settings.kind)
    house = House(parsed.width_m, parsed.length_m, settings.kind, settings.ridge_m, parsed.name, parsed.feet)
    title = f"Option {pin['letter']}" + (f": {pin['name']}" if pin["name"] else "")
    given = settings.model_dump(by_alias=True, mode="json", exclude_unset=True)
    return Placement(place["lon"], place["lat"], place["bearing_deg"], house, title, settings=given)


def _plan(kind: Any, site: Site, place: Placement, to: tuple[Path, str]) -> Iterator[Written]:
    folder, letter = to
    title = f"{letter}: {kind.title}"
    try:
        made = kind(site, place)
        paths = made.write(folder / f"{letter}-{kind.id.replace('_', '-')}")
    except TunnelsiteError as problem:
        yield Written(title, reason=str(problem))
        return
    for what, path in paths.items():
        if path.suffix in (".svg", ".html", ".gpx", ".csv", ".pdf", ".gpkg", ".dxf"):
            yield Written(f"{title}, {what.replace('_', ' ')}", str(path.relative_to(folder)))


def _listed(result: Result, pins: Sequence[Mapping[str, Any]]) -> Result:
    """The run with the pins as its only options: those that are placements of it."""
    choices = [choice for pin in pins if (choice := _choice(result, pin["place"])) is not None]
    return replace(result, choices=choices)


def _choice(result: Result, place: Mapping[str, Any]) -> Choice | None:
    for number, (scan, scored) in enumerate(zip(result.scans, result.scored, strict=True)):
        grid = scan.frame.grid
        turned = abs((grid.bearing_deg - place["bearing_deg"] + 90.0) % 180.0 - 90.0)
        if scan.house.name != place["house"] or turned > SAME_DEG or not len(scan.index):
            continue
        spot = grid.from_map(*transformer("EPSG:4326", grid.crs_wkt).transform(place["lon"], place["lat"]))
        row, col = int((grid.north_m - spot[1]) / grid.cell_m), int((spot[0] - grid.west_m) / grid.cell_m)
        item = min(int(np.searchsorted(scan.index, row * grid.cols + col)), len(scan.index) - 1)
        away = np.hypot(*np.subtract(scan.centre(int(scan.index[item])), spot))
        if away <= NEAR_M and np.isfinite(scored[item]):
            return Choice(number, item, float(scored[item]))
    return None


def _page(project: Project, of: tuple[Result, Site], folder: Path) -> Iterator[Written]:
    result, site = of
    title = "Report: map, ranking and a card for each place"
    if not result.choices:
        yield Written(title, reason="none of the pinned places is a placement of the run: only its plans were made")
        return
    try:
        view = sun_view(site, result.settings).with_farm_steps()
        studies = [studied(result, rank, view) for rank in range(1, len(result.choices) + 1)]
        stamp = f"{datetime.now():%Y-%m-%d %H:%M}"
        page = report_page(result, studies, PageAsk(f"Places for a house: {project.folder.name}", True, stamp))
        write_whole(folder / "report.html", page, overwrite=False)
    except TunnelsiteError as problem:
        yield Written(title, reason=str(problem))
        return
    yield Written(title, "report.html")


def _layers(result: Result, folder: Path) -> Iterator[Written]:
    if not result.choices:
        return
    result.write(folder / "options.gpkg")
    yield Written("Places, pads and stakes (GeoPackage)", "options.gpkg")
    with contextlib.suppress(TunnelsiteError):
        written = write_handover(read_layers(str(folder / "options.gpkg")), folder, ["gpx"], {}, overwrite=False)
        for path in written:
            yield Written("Places for a GPS receiver (GPX)", path.name)


def _index(project: Project, pins: Sequence[Mapping[str, Any]], pieces: Sequence[Written]) -> str:
    """The first page: what lies in the folder, in plain HTML that any browser opens."""

    def text(words: str) -> str:
        return html.escape(words, quote=True)

    notes = "".join(f"<li>{_pin_line(pin, text)}</li>" for pin in pins)
    files = "".join(f'<li><a href="{text(one.file)}">{text(one.title)}</a></li>' for one in pieces if one.file)
    lacks = "".join(f"<li>{text(one.title)}: {text(one.reason)}</li>" for one in pieces if not one.file)
    missing = f"<h2>Not made</h2><ul>{lacks}</ul>" if lacks else ""
    cautions = "".join(f"<li>{text(one)}</li>" for one in CAUTIONS)
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width">'
        f"<title>{text(project.folder.name)}: places for a house</title>"
        "<style>body{font:16px/1.5 system-ui,sans-serif;max-width:46rem;margin:2rem auto;padding:0 1rem;color:#1b1f24}"
        "h1{font-size:1.5rem}li{margin:.3rem 0}span{color:#5b6570}</style></head><body>"
        f"<h1>Places for a house: {text(project.folder.name)}</h1><p>Made {datetime.now():%d %B %Y, %H:%M}. This is a screening, "
        f"not a survey.</p><h2>Places</h2><ul>{notes}</ul><h2>Files</h2><ul>{files}</ul>{missing}"
        f"<h2>Before anything is dug</h2><ul>{cautions}</ul></body></html>\n"
    )


def _pin_line(pin: Mapping[str, Any], text: Callable[[str], str]) -> str:
    place = pin["place"]
    where = f"{place['lat']:.6f}, {place['lon']:.6f}; {text(place['house'])}, ridge {place['bearing_deg']:g}°"
    return f"<b>{pin['letter']}</b> {text(pin['name'])} <span>{text(pin['note'])}</span> ({where})"
