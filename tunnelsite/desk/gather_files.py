"""The sources that a project folder names, and the files that fetching would write there."""

from __future__ import annotations

from pathlib import Path

from tunnelsite.core.errors import InputRefused
from tunnelsite.desk.gather_messages import FeaturesAsked, GatherAsked
from tunnelsite.desk.project import Project
from tunnelsite.gather.data_sources import DataSource, read_sources

SOURCES = "sources.toml"
ENDINGS = (".geojson", ".gpkg", ".fgb")


def sources_of(project: Project) -> dict[str, DataSource]:
    """The sources that the folder's sources file names. Errors: InputRefused, UsageError."""
    path = project.folder / SOURCES
    return read_sources(path) if path.is_file() else {}


def name_of(asked: FeaturesAsked) -> str:
    """The name of the file for a role: `service:water` is `water`."""
    name = asked.role.rpartition(":")[2].replace("-", "_")
    if not name.isidentifier() or name in ("ground", "surface"):
        raise InputRefused(f"features would be used as {asked.role!r}", "fields, buildings, trees ...", "choose a use")
    return name


def written(project: Project, asked: GatherAsked) -> list[Path]:
    """The files that may be written, by all that is known before."""
    names = ["ground.tif"] if asked.ground or asked.points else []
    names += ["surface.tif"] if asked.surface or asked.points else []
    names += ["ground-points.tif", "ground-scatter.tif"] if asked.points else []
    names += ["standing.geojson"] if asked.standing else []
    names += [f"{name_of(one)}{ending}" for one in asked.features for ending in ENDINGS]
    return [project.folder / name for name in names]
