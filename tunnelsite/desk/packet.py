"""The packet of the pinned places: plans, page, GPX and GeoPackage in one folder that can be sent by mail."""

from __future__ import annotations

import contextlib
import glob
import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from tunnelsite.core import catalogue
from tunnelsite.core.errors import TunnelsiteError
from tunnelsite.core.house import House
from tunnelsite.core.placement import Placement
from tunnelsite.core.plan_kind import PlanKind
from tunnelsite.core.site import Site
from tunnelsite.desk.held import held
from tunnelsite.desk.packet_index import DATA, Written, of_plan, packet_index
from tunnelsite.desk.page_words import message_of
from tunnelsite.desk.project import FARM, Project, named_files
from tunnelsite.desk.screening import KEPT
from tunnelsite.desk.uploads import SHAPE_PARTS
from tunnelsite.io.read.site import site_from
from tunnelsite.io.read.stored import read_layers
from tunnelsite.io.write.handover import write_handover
from tunnelsite.io.write.outputs import make_folder
from tunnelsite.io.write.staging import write_whole
from tunnelsite.io.write.whole_folder import whole_folder
from tunnelsite.plans.grading.grade import grade
from tunnelsite.plans.plan import Plan
from tunnelsite.plans.stakeout.plan import stake_out
from tunnelsite.plans.stakeout.settings import StakeOutSettings
from tunnelsite.report.candidate_study import Study
from tunnelsite.report.checklists import checklists_page, known_of
from tunnelsite.report.chosen import PinnedPlace, choice_at
from tunnelsite.report.report import make_report
from tunnelsite.report.settings import ReportSettings
from tunnelsite.screening.kept_run import kept_run
from tunnelsite.screening.result import Result
from tunnelsite.settings.model import settings_from

OPENED = "project"  # the folder of the packet that holds a project of its own
MOST_DATA_BYTES = 200 << 20  # of a packet that is to be sent
PLANS = ("sun_chart", "grade", "stake_out")  # those that a packet holds; stakes follow the grading plan before them
Says = Callable[[float, str], None]


def write_packet(project: Project, run: str, pins: Sequence[Mapping[str, Any]], name: str, says: Says) -> Path:
    """Write the packet of some pins beside its place and put it there.

    Arguments: project; run, the kept run that they come from; pins; name of the folder below `packet`; says, is told (share, words).
    Return: the folder. Errors: OutputFailed, and those of the readers; nothing half is left.
    """
    target = project.packet / name
    with whole_folder(target) as part:
        pieces = list(_pieces(project, run, pins, (part, says)))
        write_whole(part / "index.html", packet_index(project.folder.name, pins, pieces), overwrite=False)
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
        made: dict[str, Plan] = {}
        for step, kind in enumerate(kinds):
            says(0.1 + 0.6 * (number * len(kinds) + step) / steps, f"{kind.title.lower()} of {pin['letter']}")
            yield from _plan(kind, (site, place), made, (folder, pin["letter"]))
    passing = _passing(result, pins)
    says(0.75, "the page")
    yield from _pages(project, (result, site), passing, folder)
    says(0.92, "GeoPackage and GPX")
    choices = [held(choice_at(result, _spot(pin["place"]))) for pin in passing]
    yield from _layers(replace(result, choices=choices), folder)
    says(0.96, "the project")
    yield from _project(project, run, folder)


def _project(project: Project, run: str, folder: Path) -> Iterator[Written]:
    """The project of the run with the files that it names, so that it can be opened and run elsewhere."""
    text = (project.runs / run / FARM).read_bytes()
    make_folder(folder / OPENED)
    write_whole(folder / OPENED / FARM, text, overwrite=False)
    yield Written("The project: open this folder with the desk, or run its project file", f"{OPENED}/{FARM}", part=DATA)
    left = MOST_DATA_BYTES
    for name in named_files(tomllib.loads(text.decode("utf-8"))):
        path = (project.folder / name).resolve()
        parts = [one for one in path.parent.glob(f"{glob.escape(path.stem)}.*") if one.suffix.lower() in SHAPE_PARTS]
        parts = parts if path.suffix.lower() == ".shp" else [path]
        size = sum(one.stat().st_size for one in parts if one.is_file())
        if not path.is_relative_to(project.folder) or not path.is_file():
            yield Written(name, reason="the project names it, and it is not in the project's folder")
        elif size > left:
            yield Written(
                name,
                reason=f"{size / 1e6:,.0f} MB are too much to send: hand it over by itself, beside {OPENED}/{FARM}",
            )
        else:
            left -= size
            for one in parts:
                target = folder / OPENED / one.relative_to(project.folder)
                make_folder(target.parent)
                write_whole(target, one.read_bytes(), overwrite=False)


def placement_of(pin: Mapping[str, Any], result: Result) -> Placement:
    """The placement of a pin, with the settings of the run."""
    place, settings = pin["place"], result.settings
    parsed = House.parse(place["house"], settings.kind)
    house = House(parsed.width_m, parsed.length_m, settings.kind, settings.ridge_m, parsed.name, parsed.feet)
    title = f"Option {pin['letter']}" + (f": {pin['name']}" if pin["name"] else "")
    given = settings.model_dump(by_alias=True, mode="json", exclude_unset=True)
    return Placement(place["lon"], place["lat"], place["bearing_deg"], house, title, settings=tuple(given.items()))


def phone_page(site: Site, pin: Mapping[str, Any], result: Result) -> str:
    """The stakes of a pin as a page for the phone, to the heights of its grading plan. Errors: those of the plan."""
    place, made = placement_of(pin, result), {}
    with contextlib.suppress(TunnelsiteError):
        made = {"grade": grade(site, place)}
    return str(stake_out(site, place, _following(made)).documents["phone"])


def _following(made: Mapping[str, Plan]) -> StakeOutSettings:
    """Stakes to the heights of the grading plan, where there is one: two papers of one pad never differ."""
    return StakeOutSettings(grading=made.get("grade"))


def _plan(
    kind: PlanKind, where: tuple[Site, Placement], made: dict[str, Plan], to: tuple[Path, str]
) -> Iterator[Written]:
    folder, letter = to
    try:
        plan = made[kind.id] = kind(*where, _following(made) if kind.id == "stake_out" else None)
        paths = plan.write(folder / f"{letter}-{kind.id.replace('_', '-')}")
    except TunnelsiteError as problem:
        yield Written(f"{letter}: {kind.title}", reason=message_of(problem))
        return
    for what, path in paths.items():
        if path.suffix in (".svg", ".html", ".gpx", ".csv", ".pdf", ".gpkg", ".dxf"):
            yield of_plan(kind, letter, what, str(path.relative_to(folder)))


def _passing(result: Result, pins: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """The pins that are placements of the run which passed."""
    return [pin for pin in pins if choice_at(result, _spot(pin["place"])) is not None]


def _spot(place: Mapping[str, Any]) -> PinnedPlace:
    return PinnedPlace(place["lon"], place["lat"], place["bearing_deg"], place["house"])


def _shape(pins: Sequence[Mapping[str, Any]], title: str) -> ReportSettings:
    """The report of some pins, with their letters, names and notes."""
    places: dict[str, str] = {}
    notes: dict[str, str] = {}
    for pin in pins:
        place = pin["place"]
        places[f"{pin['letter']}: {pin['name']}"] = (
            f"{place['lon']!r},{place['lat']!r},{place['bearing_deg']!r},{place['house']}"
        )
        notes |= {pin["letter"]: pin["note"]} if pin["note"] else {}
    return ReportSettings(client=True, title=title, place=places, note=notes)


def _pages(
    project: Project, of: tuple[Result, Site], pins: Sequence[Mapping[str, Any]], folder: Path
) -> Iterator[Written]:
    """The report, and the checklists with what it found of their lines."""
    report, studies = _report(project, of, pins, folder)
    yield report
    write_whole(folder / "checklists.html", checklists_page(known=known_of(studies)), overwrite=False)
    yield Written("Checklists: what no map answers, to tick off", "checklists.html")


def _report(
    project: Project, of: tuple[Result, Site], pins: Sequence[Mapping[str, Any]], folder: Path
) -> tuple[Written, Sequence[Study]]:
    """The report where one can be made, and what it studied."""
    title, (result, site) = "Report: map, ranking and a card for each place", of
    if not pins:
        why = "none of the pinned places is a placement of the run: only its plans were made"
        return Written(title, reason=why), ()
    try:
        made = make_report(result, _shape(pins, f"Places for a house: {project.folder.name}"), site=site)
        made.write(folder / "report.html")
    except TunnelsiteError as problem:
        return Written(title, reason=message_of(problem)), ()
    return Written(title, "report.html"), made.studies


def _layers(result: Result, folder: Path) -> Iterator[Written]:
    if not result.choices:
        return
    result.write(folder / "options.gpkg")
    yield Written("Places, pads and stakes (GeoPackage)", "options.gpkg", part=DATA)
    with contextlib.suppress(TunnelsiteError):
        written = write_handover(read_layers(str(folder / "options.gpkg")), folder, ["gpx"], {}, overwrite=False)
        for path in written:
            yield Written("Places for a GPS receiver (GPX)", path.name, part=DATA)
