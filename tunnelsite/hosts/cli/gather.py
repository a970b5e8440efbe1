"""`gather`: elevation, surface, points and features round a place, from sources the user names. The only command that uses a network."""

from __future__ import annotations

import argparse
import os
import shlex
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tunnelsite.core.errors import UsageError
from tunnelsite.core.units import length_m, number
from tunnelsite.hosts.cli.progress import Progress
from tunnelsite.hosts.cli.streams import answer

if TYPE_CHECKING:
    from tunnelsite.gather.record import Entry
    from tunnelsite.gather.request import GatherRequest


def gather(given: argparse.Namespace) -> int:
    """Bring what was asked for into the folder."""
    from tunnelsite.gather.request import door_for, plan_words, plans_for, waypoints
    from tunnelsite.gather.request import gather as bring
    from tunnelsite.io.write.outputs import make_folder

    folder = Path(given.folder)
    lists = given.list if not given.dry_run else []
    nothing_else = lists and not (given.ground or given.surface or given.points or given.features or given.standing)
    made = []
    if lists:
        make_folder(folder)
        made = [waypoints(file, folder, overwrite=bool(given.overwrite)) for file in lists]
    if nothing_else:
        answer({"files": list(map(str, made))}, _list_words, as_json=given.json)
        return 0
    request = _request(given, folder)
    if given.dry_run:
        words = plan_words(plans_for(request, door_for(request))) + _sizes_not_known(request)
        answer({"would_fetch": words}, lambda told: "\n".join(told["would_fetch"] or ["nothing"]), as_json=given.json)
        return 0
    done = bring(request, folder, Progress(quiet=given.quiet))
    summary: dict[str, Any] = {
        "fetched_bytes": done.fetched_bytes,
        "chosen": list(done.told),
        "files": [_file(folder, entry) for entry in done.entries],
        "lists": list(map(str, made)),
        "record": str(done.record),
        "next": _next(folder, [path.name for path in sorted(folder.glob("*.geojson"))]),
    }
    answer(summary, _words, as_json=given.json)
    return 0


def _sizes_not_known(request: GatherRequest) -> list[str]:
    """What would be fetched besides the models, one line each."""
    clouds = [
        f"points: from {place}: its size is not known in advance" for _, place in request.points if "://" in place
    ]
    pages = [f"{one.name}: from {one.source.name}: its size is not known in advance" for one in request.features]
    return clouds + pages


def _next(folder: Path, files: list[str]) -> list[str]:
    """The screening that what was gathered serves, where there is ground in the folder."""
    if not (folder / "ground.tif").is_file():
        return []
    land = next((name for name in files if name == "parcels.geojson"), "PARCELS")
    parts = [str(folder / "ground.tif"), land if land == "PARCELS" else str(folder / land)]
    parts += ["--surface", str(folder / "surface.tif")] if (folder / "surface.tif").is_file() else []
    return [
        f"Next: tunnelsite screen {shlex.join(parts)} --house 30x96ft --out {shlex.quote(str(folder / 'sites.gpkg'))}"
    ]


def _request(given: argparse.Namespace, folder: Path) -> GatherRequest:
    """The options as a request. Errors: UsageError."""
    from tunnelsite.gather.data_sources import LOCAL, DataSource, read_sources, source_named
    from tunnelsite.gather.features import FeatureRequest
    from tunnelsite.gather.request import GatherRequest, area_around, area_of_parcels

    halo_m = length_m(given.halo, "--halo", most_m=20_000)
    cell_m = length_m(given.cell, "--cell", least_m=0.25, most_m=10)
    most_bytes = _most_bytes(given.most)
    listed = Path(given.sources) if given.sources else folder / "sources.toml"
    known = read_sources(listed) if given.sources or listed.is_file() else {}

    def named(text: str | None, option: str) -> DataSource | None:
        if text is None:
            return None
        found = source_named(text, known, "stac", option)
        return replace(found, unit=given.unit) if given.unit else found

    def cloud(text: str) -> tuple[DataSource, str]:
        if text in known or "://" in text:
            found = source_named(text, known, "points", "--points")
            return found, found.address
        if not os.path.isfile(text):  # false for a name that is none, too
            raise UsageError(
                f"--points {text!r} is no file", "a LAS, LAZ or COPC file, or an address", "check the name"
            )
        return DataSource(Path(text).name, LOCAL, "", unit=given.unit or ""), text

    def feature_request(text: str) -> FeatureRequest:
        name, equals, source = text.partition("=")
        if not equals or not name.isidentifier():
            raise UsageError(f"--features is {text!r}", "NAME=SOURCE, such as parcels=county/parcels", "correct it")
        if "://" not in source and "/" in source and source not in known:
            source, _, collection = source.partition("/")
            return FeatureRequest(
                name, replace(source_named(source, known, "features", "--features"), collection=collection)
            )
        address, _, collection = source.partition("/collections/")
        found = source_named(address if collection else source, known, "features", "--features")
        return FeatureRequest(name, replace(found, collection=collection.strip("/")) if collection else found)

    ground, surface = named(given.ground, "--ground"), named(given.surface, "--surface")
    points, features = tuple(map(cloud, given.points)), tuple(map(feature_request, given.features))
    if (given.around is None) == (given.parcels is None):
        raise UsageError("neither or both of --around and --parcels", "one of them", "say where")
    area = area_around(given.around, halo_m) if given.around else area_of_parcels(given.parcels, halo_m)
    return GatherRequest(
        area,
        ground=ground,
        surface=surface,
        points=points,
        features=features,
        standing=given.standing,
        cell_m=cell_m,
        points_crs=given.points_crs,
        hosts=tuple(given.host),
        most_bytes=most_bytes,
        overwrite=bool(given.overwrite),
    )


def _most_bytes(text: str) -> int:
    most = number(text, "--most")
    if not 0 < most <= 1e6:  # false for NaN too
        raise UsageError(f"--most is {text!r}", "more than 0 and up to 1,000,000 MB", "correct it")
    return int(most * 1e6)


def _file(folder: Path, entry: Entry) -> dict[str, Any]:
    words = {name: getattr(entry, name) for name in ("what", "chosen", "licence")}
    return {"file": str(folder / entry.file), **words, "notes": list(entry.notes)}


def _list_words(summary: dict[str, Any]) -> str:
    return "\n".join(f"written: {path}" for path in summary["files"])


def _words(summary: dict[str, Any]) -> str:
    lines = [f"{summary['fetched_bytes'] / 1e6:.1f} MB fetched"]
    for one in summary["files"]:
        lines.append(f"written: {one['file']} ({one['what']}): {one['chosen']}; licence: {one['licence']}")
        lines += [f"note: {note}" for note in one["notes"]]
    lines += [f"written: {path}" for path in summary["lists"]]
    return "\n".join([*lines, f"record: {summary['record']}", *summary["next"]])
