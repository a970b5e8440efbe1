"""What the page and the server say to each other of data that are fetched."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from tunnelsite.desk.messages import Message, Problem


class SourceEntry(Message):
    """A source of the folder's sources file: its `kind` says what can be fetched from it."""

    name: str
    kind: str
    licence: str = ""
    note: str = ""
    host: str


class SourceList(Message):
    """Every source that can be named; `problem`, why the sources file could not be read."""

    sources: list[SourceEntry] = Field(default=[])
    problem: Problem | None = None


class FeaturesAsked(Message):
    """Features to fetch: what they are to be used as, a source's name or an address, and the collection of a service."""

    role: str = Field(max_length=60)
    source: str = Field(max_length=2000)
    collection: str = Field(default="", max_length=200)


class GatherAsked(Message):
    """What to fetch: round the fields, or round `circle` (`LAT,LON:RADIUS`), with `halo` of land round either.

    A source is a name of the sources file or an address. `unit`: of heights where the files do not say.
    """

    circle: str | None = Field(default=None, max_length=120)
    halo: str = Field(default="300m", max_length=20)
    ground: str = Field(default="", max_length=2000)
    surface: str = Field(default="", max_length=2000)
    points: str = Field(default="", max_length=2000)
    features: list[FeaturesAsked] = Field(default=[], max_length=20)
    standing: bool = False
    unit: Literal["", "m", "ft", "us-ft"] = ""
    replace: bool = False


class GatherProgress(Message):
    """How far it is. `step`: `size` asks how large it would be, `fetch` brings it.

    Attributes: lines, what would be fetched; bytes, about how many, of what can be known before; replaces, files that are there
    already; files, what was brought and what it is used as.
    """

    step: Literal["size", "fetch"]
    state: Literal["running", "done", "cancelled", "failed"] = "running"
    share: float = 0.0
    words: str = ""
    lines: list[str] = Field(default=[])
    bytes: int = 0
    replaces: list[str] = Field(default=[])
    files: list[str] = Field(default=[])
    problem: Problem | None = None
