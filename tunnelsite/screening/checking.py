"""Everything a run would refuse or say of its inputs, by the run's own steps, without judging a placement."""

from __future__ import annotations

from dataclasses import dataclass

from tunnelsite.core import catalogue
from tunnelsite.core.process import silent
from tunnelsite.core.site import Site
from tunnelsite.scan.data_checks import check_houses, doubt_cells
from tunnelsite.scan.doubts import doubt_surface
from tunnelsite.screening.layers import add_made, framed
from tunnelsite.screening.providers import given_layers
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
    given_layers(
        [*(["sun"] if site.weather is not None else []), "far_ground"], site, frame, settings
    )  # for what they note
    add_made(catalogue.process("raised_ground"), site, frame, settings, silent)
    doubt_surface(frame, site.dem.name)
    doubt_cells(frame, site.dem.name, settings.houses)
    return Checked(frame.doubts, [*notes, *frame.notes, *preset_notes(settings)])
