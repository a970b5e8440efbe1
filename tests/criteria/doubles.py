"""What criteria are measured on in tests: placements made of plain arrays, and a strip of real ground without the rest of a screening."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np

from tunnelsite.core.house import House, Pad
from tunnelsite.core.process import silent
from tunnelsite.core.site import Site
from tunnelsite.scan.engine import scanned
from tunnelsite.scan.open_ground import bars, open_ground
from tunnelsite.screening.judges import judges_of
from tunnelsite.screening.layers import prepared
from tunnelsite.settings.model import Settings


class Plain:
    """`Placements` of which each sees one value a layer; other members (`plane`, `house`, `frame` ...) as they are given."""

    def __init__(self, layers: dict[str, object] | None = None, **members: object) -> None:
        self.layers = {name: np.atleast_2d(np.asarray(values, float)) for name, values in (layers or {}).items()}
        self.__dict__ |= members

    def layer(self, name: str) -> np.ndarray:
        return self.layers[name]

    footprint_mean = footprint_max = footprint_min = pad_max = pad_min = layer


def criteria_of(site: Site, settings: Settings) -> set[str]:
    """The criteria that a screening would use."""
    return {judge.id for judge in judges_of(site, settings, settings.kind)}


def measured(site: Site, house: House, settings: Settings, *names: str) -> SimpleNamespace:
    """Some criteria of a screening on all its placements: `scans`, one a bearing, and `judges`; nothing else is computed."""
    judges = [judge for judge in judges_of(site, settings, settings.kind) if judge.id in names]
    pad = Pad.around(house, settings.apron_m)
    scans = []
    for bearing in settings.bearings:
        frame = prepared(site, settings, bearing, judges, silent)
        ground = open_ground(frame, pad, settings.setback_m, bars(frame, settings.clearance_m))
        scans.append(scanned(frame, (house, pad), ground, judges, settings.pad_pitch))
    return SimpleNamespace(scans=scans, judges=judges, frame=scans[0].frame)
