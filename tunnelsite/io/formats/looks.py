"""How features look in a format that carries its own style: the colours of the SLD documents, layer by layer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tunnelsite.io.formats.plan_styles import AREA_LOOKS, LINE_LOOKS, SERVICE_COLOUR
from tunnelsite.io.formats.sld_parts import DARK, GREY
from tunnelsite.io.formats.styles import STAKE_MARKS, colour, score_breaks
from tunnelsite.io.formats.world import WorldLayer


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


def looks(layer: WorldLayer) -> list[Look]:
    """The look of every feature of a layer, in order."""
    rows = layer.table.rows
    if layer.name not in ("candidates", "layout"):
        return [_look(layer.name, row.get("kind")) for row in rows]
    scores = [row.get("score") for row in rows]
    breaks = score_breaks([score for score in scores if score is not None])
    return [_score_look(score, breaks) for score in scores]


def _look(layer: str, kind: str | None) -> Look:
    if layer == "stakes" and kind in STAKE_MARKS:
        fill, shown = colour("cividis", STAKE_MARKS[kind][2]), kind == "corner"
        return Look(f"stake_{kind}", fill, icon_scale=0.7 if shown else 0.4, labelled=shown)
    if layer == "lines" and kind in LINE_LOOKS:
        line = LINE_LOOKS[kind]
        return Look(f"line_{kind.replace(' ', '_')}", line.stroke, line.width)
    if layer == "areas" and kind in AREA_LOOKS:
        area = AREA_LOOKS[kind]
        return Look(f"area_{kind.replace(' ', '_')}", area.stroke, area.width, area.fill, area.opacity)
    if layer == "trenches":
        return Look("trench", SERVICE_COLOUR, 2.0)
    return Look("pad", colour("cividis", 0.1), 2.0) if layer == "pads" else Look("other", GREY)


def _score_look(score: float | None, breaks: Sequence[float]) -> Look:
    if score is None:
        return Look("no_score", DARK, fill=GREY, opacity=0.3, labelled=True)
    count = len(breaks) - 1
    index = next(k for k in range(count) if score < breaks[k + 1] or k == count - 1)
    place = index / (count - 1) if count > 1 else 1.0
    return Look(f"score_{index + 1}", DARK, fill=colour("cividis", place), labelled=True)
