"""Data fetched for a project on request, from the sources that its user names: the same `gather` as the command's."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from tunnelsite.core.errors import UsageError
from tunnelsite.core.units import length_m
from tunnelsite.desk.gather_files import name_of, sources_of, written
from tunnelsite.desk.gather_messages import FeaturesAsked, GatherAsked
from tunnelsite.desk.project import Project
from tunnelsite.gather.data_sources import DataSource, source_named
from tunnelsite.gather.features import FeatureRequest
from tunnelsite.gather.request import (
    GatherRequest,
    area_around,
    area_of_land,
    area_of_parcels,
    door_for,
    gather,
    plan_words,
    plans_for,
)
from tunnelsite.io.fetch.door import host_of
from tunnelsite.io.fetch.window import Area
from tunnelsite.io.read.drawn import read_drawn

MOST_HALO_M = 20_000.0
FILE_OF = {"ground": "dem", "surface": "surface", "obstacles": "obstacles"}  # what was gathered: its role
Says = Callable[[dict[str, Any]], None]


def planned(project: Project, asked: GatherAsked) -> dict[str, Any]:
    """What would be fetched: catalogues and the heads of files are read, nothing is written.

    Return: lines, bytes, replaces, as of `GatherProgress`. Errors: UsageError, InputRefused.
    """
    request = request_of(project, asked)
    plans = plans_for(request, door_for(request))
    hosts = sorted({host_of(source.address) for source in request.sources})
    unsaid = [f"{what}: its size is not known before; fetching stops at {request.most_bytes / 1e6:,.0f} MB"
              for what in (*(source.name for source, _ in request.points), *(one.name for one in request.features))]  # fmt: skip
    return {
        "lines": [*plan_words(plans), *unsaid, f"asked: {', '.join(hosts)}; no other machine"],
        "bytes": sum(one.size for one in plans.values()),
        "replaces": [path.name for path in written(project, asked) if path.exists()],
    }


def gathered(project: Project, asked: GatherAsked, says: Says) -> list[dict[str, str]]:
    """Fetch it into the folder. Return: the files, each with the role it is meant for ("" = none).

    Errors: UsageError where a file is there and may not be replaced; InputRefused, OutputFailed. What is whole stays.
    """
    request = request_of(project, asked)
    there = [path.name for path in written(project, asked) if path.exists()]
    if there and not asked.replace:
        raise UsageError(
            f"{', '.join(there)} is in the folder already", "a folder without it", "let it be replaced, or delete it"
        )
    done = gather(request, project.folder, lambda step, share: says({"words": step, "share": share}))
    roles = FILE_OF | {name_of(one): one.role for one in asked.features}
    said, found = set(), []
    for entry in done.entries:
        role = roles.get(entry.what, "") if entry.what not in said else ""  # a second lattice is not used by itself
        said.add(entry.what)
        found.append(
            {"name": entry.file, "role": role, "words": f"{entry.file}: {entry.chosen}; licence: {entry.licence}"}
        )
    return found


def request_of(project: Project, asked: GatherAsked) -> GatherRequest:
    """What the page asks for as a request. Errors: UsageError for a source that is none, or where no place is given."""
    known = sources_of(project)

    def named(text: str, what: str, kind: str = "stac") -> DataSource | None:
        if not text.strip():
            return None
        found = source_named(text.strip(), known, kind, what)
        return replace(found, unit=asked.unit) if asked.unit else found

    points = named(asked.points, "survey points", "points")
    ground, surface = named(asked.ground, "bare ground"), named(asked.surface, "ground with what stands on it")
    if not (ground or surface or points or asked.features):
        raise UsageError("nothing is asked for", "a source for the ground, for points or for features", "choose one")
    features = tuple(_feature_request(one, known) for one in asked.features)
    names = [one.name for one in features]
    if len(set(names)) < len(names):
        raise UsageError("two things are to be used as the same", "one source for each use", "take one out")
    halo_m = length_m(asked.halo, "land round the place", most_m=MOST_HALO_M)
    area = area_around(asked.circle, halo_m) if asked.circle else area_of_fields(project, halo_m)
    return GatherRequest(area, ground=ground, surface=surface, points=((points, points.address),) if points else (),
                         features=features, standing=asked.standing, overwrite=asked.replace)  # fmt: skip


def area_of_fields(project: Project, halo_m: float) -> Area:
    """The area of all fields, from files and drawn, with land round it. Errors: UsageError where there is none; those of the readers."""
    settings = project.settings()
    areas = [area_of_parcels(settings.parcels, halo_m)] if settings.parcels else []
    drawn = read_drawn(settings.drawn).fields if settings.drawn else None
    if drawn is not None:
        areas.append(area_of_land(drawn, halo_m))
    if not areas:
        raise UsageError("there is no field yet", "a field, or a circle round a place", "choose a circle")
    return Area(
        min(one.west_deg for one in areas),
        min(one.south_deg for one in areas),
        max(one.east_deg for one in areas),
        max(one.north_deg for one in areas),
    )


def _feature_request(asked: FeaturesAsked, known: dict[str, DataSource]) -> FeatureRequest:
    text, collection = asked.source.strip(), asked.collection.strip()
    if "/collections/" in text and text not in known:
        text, _, inside = text.partition("/collections/")
        collection = collection or inside.strip("/")
    found = source_named(text, known, "features", "features")
    return FeatureRequest(name_of(asked), replace(found, collection=collection) if collection else found)
