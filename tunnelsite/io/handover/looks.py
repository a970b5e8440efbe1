"""How features look in a format that carries its own style: the colours of the SLD documents, layer by layer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from tunnelsite.io.handover.world import WorldLayer, rows_of
from tunnelsite.io.plan_styles import AREA_LOOKS, LINE_LOOKS, SERVICE_COLOUR
from tunnelsite.io.styles import GREY, STAKE_MARKS, colour, score_breaks


@dataclass(frozen=True)
class Look:
    """Colours `#rrggbb` (fill empty = none), line width [pixels], size of the icon, whether names are written."""

    id: str
    stroke: str
    width: float = 1.5
    fill: str = ""
    opacity: float = 0.75
    icon_scale: float = 0.6
    labelled: bool = False


def looks(layers: Sequence[WorldLayer]) -> list[Look]:
    """Every look the layers need, each once."""
    found: dict[str, Look] = {}
    for layer in layers:
        for row in rows_of(layer.table):
            look = look_of(layer, row)
            found.setdefault(look.id, look)
    return list(found.values())


def look_of(layer: WorldLayer, row: dict[str, Any]) -> Look:
    """The look of one feature."""
    kind = row.get("kind")
    if layer.name in ("candidates", "layout"):
        return _score_look(layer, row.get("score"))
    if layer.name == "stakes" and kind in STAKE_MARKS:
        shown = kind == "corner"
        return Look(
            f"stake_{kind}", colour("cividis", STAKE_MARKS[kind][2]), icon_scale=0.7 if shown else 0.4, labelled=shown
        )
    if layer.name == "lines" and kind in LINE_LOOKS:
        line = LINE_LOOKS[kind]
        return Look(f"line_{kind.replace(' ', '_')}", line.stroke, line.width)
    if layer.name == "areas" and kind in AREA_LOOKS:
        area = AREA_LOOKS[kind]
        return Look(f"area_{kind.replace(' ', '_')}", area.stroke, area.width, area.fill, area.opacity)
    if layer.name == "trenches":
        return Look("trench", SERVICE_COLOUR, 2.0)
    if layer.name == "pads":
        return Look("pad", colour("cividis", 0.1), 2.0)
    return Look("other", GREY)


def _score_look(layer: WorldLayer, score: float | None) -> Look:
    if score is None:
        return Look("no_score", "#1a1a1a", fill=GREY, opacity=0.3, labelled=True)
    breaks = score_breaks([row["score"] for row in _scored(layer)])
    count = len(breaks) - 1
    index = next(k for k in range(count) if score < breaks[k + 1] or k == count - 1)
    place = index / (count - 1) if count > 1 else 1.0
    return Look(f"score_{index + 1}", "#1a1a1a", fill=colour("cividis", place), labelled=True)


def _scored(layer: WorldLayer) -> list[dict[str, Any]]:
    return [row for row in rows_of(layer.table) if row.get("score") is not None]
