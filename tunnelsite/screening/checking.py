"""Everything a run would refuse or say of its inputs, by the run's own steps, without judging a placement."""

from __future__ import annotations

from dataclasses import dataclass

from tunnelsite.core import catalogue
from tunnelsite.core.layers import Layer
from tunnelsite.core.site import Site
from tunnelsite.scan.data_checks import check_houses
from tunnelsite.scan.doubts import doubt_surface
from tunnelsite.scan.far_ground import far_ground
from tunnelsite.screening.crop_sun import sun_table
from tunnelsite.screening.run import framed
from tunnelsite.settings.model import Settings
from tunnelsite.settings.preset_words import preset_notes


@dataclass(frozen=True)
class Checked:
    """What is doubtful in the inputs, and what was assumed or found in them, in words."""

    doubts: list[str]
    notes: list[str]


def checked(site: Site, settings: Settings) -> Checked:
    """Look at the inputs of a screening as its first ridge bearing would. Errors: as `screening.screen` before the first placement."""
    notes = [f"{item.name}: {note}" for item in site.inputs for note in item.notes]
    notes += check_houses(site, settings.cell_m, settings.houses)
    frame = framed(site, settings, settings.bearings[0])
    if site.far_dem is not None:
        frame.notes += far_ground(site.far_dem, frame, settings.far_reach_m).notes
    if site.weather is not None:
        sun_table(site, frame, settings)
    cell = (frame.grid.cell_m, frame.grid.cell_m)
    ground = {"ground": Layer(frame.ground, "m", "ground", cell)}
    frame.layers |= {"raised": catalogue.process("raised_ground")(ground, {"step_m": frame.step_m})["raised"].values}
    doubt_surface(frame, site.dem.name)
    return Checked(frame.doubts, [*notes, *frame.notes, *preset_notes(settings)])
