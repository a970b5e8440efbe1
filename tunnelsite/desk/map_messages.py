"""Messages on map images: where they lie and how they are read."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from tunnelsite.desk.messages import Message, View

Group = Literal["ground", "answer", "water", "light"]


class Tick(Message):
    """A number on a legend; `at` 0..1 along it."""

    at: float
    words: str


class LegendClass(Message):
    """One class of a legend; `pattern` plain, diagonal, dots or cross."""

    value: str
    words: str
    colour: str
    pattern: str = "plain"
    count: int | None = None


class Legend(Message):
    """How a map image is read."""

    kind: Literal["ramp", "classes", "none"]
    title: str
    unit: str = ""
    low: Tick | None = None
    high: Tick | None = None
    colours: list[str] = Field(default_factory=list)
    ticks: list[Tick] = Field(default_factory=list)
    classes: list[LegendClass] = Field(default_factory=list)
    note: str = ""


class MapLayer(Message):
    """A map image, even in Web Mercator between its bounds."""

    id: str
    title: str
    group: Group
    url: str
    bounds: View
    unit: str = ""
    legend: Legend
    opacity: float = 1.0
    shown: bool = False
    months: list[int] | None = None
    run: str | None = None
