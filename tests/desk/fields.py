"""A small field on disk, screened in this process, for tests that need no server."""

from __future__ import annotations

from pathlib import Path

from tests.whole_run.files import plain_farm
from tunnelsite.desk.project import Project
from tunnelsite.io.read.site import site_from
from tunnelsite.screening.result import Result
from tunnelsite.screening.run import screen

FARM = """\
# kept by hand
dem = "dem.tif"
parcels = "parcels.gpkg"
house = ["20x48ft"]   # the usual one
crop_months = "10-01:04-30"
azimuths = 8
halo = "20m"
top = 3
"""


def field_project(folder: Path, text: str = FARM) -> Project:
    """A project on a gentle field of 100 m by 80 m."""
    plain_farm(folder)
    (folder / "farm.toml").write_text(text, "utf-8")
    return Project(folder)


def screened_field(project: Project) -> Result:
    """Its screening."""
    settings = project.settings()
    return screen(site_from(settings), settings=settings)
