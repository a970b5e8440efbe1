"""What the page and the server say to each other: JSON, places in WGS 84 degrees, amounts in SI units, `None` = not known."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field

Letter = Literal["A", "B", "C"]
LETTERS: tuple[Letter, ...] = ("A", "B", "C")


class Message(BaseModel):
    """Anything that goes over the line: no field but those declared."""

    model_config = ConfigDict(extra="forbid")


class Problem(Message):
    """What went wrong: what was `given`, what is `expected`, how to fix it (`fix`); `words`, the three as a sentence; `asks`, the id of
    the question that answers it."""

    given: str
    expected: str = ""
    fix: str = ""
    words: str
    asks: str = ""


class View(Message):
    """A box on the map [deg]."""

    west: float
    south: float
    east: float
    north: float


class Place(Message):
    """A house somewhere: its centre, the ridge's bearing from true north and its size as in a project file."""

    lon: float = Field(ge=-180, le=180)
    lat: float = Field(ge=-90, le=90)
    bearing_deg: float = Field(ge=-360, le=360)
    house: str = Field(max_length=60)


class SheetHeading(Message):
    """One heading of the sheet with its line of state."""

    id: str
    title: str
    line: str
    state: Literal["ok", "missing", "doubt", "empty"]


class AnswerChoice(Message):
    """One answer that can be picked."""

    value: str
    title: str


class Question(Message):
    """What only the user can say."""

    id: str
    heading: str
    words: str
    why: str
    choices: list[AnswerChoice]


class ModelState(Message):
    """Whether the map can be asked for."""

    state: Literal["none", "reading", "ready", "failed"]
    words: str = ""


class RunProgress(Message):
    """How far a run is; `share` 0..1, `left_s` [s]."""

    id: str
    state: Literal["waiting", "running", "first_look", "writing", "done", "cancelled", "failed"]
    step: str = ""
    step_words: str = ""
    share: float = 0.0
    left_s: float | None = None
    words: str = ""
    problem: Problem | None = None


class RunCost(Message):
    """What a run would need; `fits`, whether there is enough memory; `advice`, how to need less, where that is much."""

    words: str
    fits: bool = True
    advice: list[str] = []


class PacketProgress(Message):
    """How far a packet is."""

    state: Literal["running", "done", "cancelled", "failed"]
    share: float = 0.0
    words: str = ""
    folder: str = ""
    problem: Problem | None = None


class ScanCode(Message):
    """A QR code to be drawn: modules on a side, the quiet ones round it among them, and the dark ones as a path of SVG, one unit each."""

    side: int
    path: str


class PhoneShown(Message):
    """The pinned place whose stakes are shown on the local network, and the address to scan or type on the phone."""

    letter: Letter
    name: str = ""
    address: str
    code: ScanCode


class PacketFile(Message):
    """A file of a packet."""

    path: str
    title: str
    bytes: int


class PacketEntry(Message):
    """A packet that was written."""

    folder: str
    words: str
    open: str | None
    files: list[PacketFile]


class RunEntry(Message):
    """A kept run; `changes`, what differs from the run before it."""

    id: str
    words: str
    options: int
    best: float | None
    exact: bool = True
    changes: list[str] = []
    bytes: int = 0


class FileEntry(Message):
    """A file of the project folder, and what it is used as."""

    name: str
    kind: Literal["raster", "features", "table", "weather", "other"]
    used_as: str | None = None
    proposed: str | None = None
    proposed_why: str = ""
    facts: list[str] = []
    distance_m: float | None = None
    problems: list[str] = []
    size_bytes: int = 0


class Role(Message):
    """What a file may be used as."""

    id: str
    title: str
    help: str
    kind: Literal["raster", "features", "weather"]
    several: bool = False
    distance: bool = False


class Pin(Message):
    """A place kept as option A, B or C."""

    letter: Letter
    name: str = ""
    note: str = ""
    place: Place
    footprint: dict[str, Any]
    ridge: dict[str, Any]
    rank: int | None = None
    score: float | None = None


class State(Message):
    """Everything the sheet shows."""

    version: int
    folder: str
    name: str
    begun: bool
    units: Literal["ft", "m"]
    hemisphere: Literal["north", "south"] = "north"
    view: View | None = None
    headings: list[SheetHeading]
    questions: list[Question] = []
    model: ModelState
    run: RunProgress | None = None
    cost: RunCost | None = None
    current: str | None = None
    stale: bool = False
    runs: list[RunEntry] = []
    files: list[FileEntry] = []
    drawn_version: int = 0
    pins: list[Pin] = []
    packets: list[PacketEntry] = []
    packet: PacketProgress | None = None
    phone: PhoneShown | None = None
    notes: list[str] = []


class Begin(Message):
    """How to begin in an empty folder."""

    what: Literal["sample", "empty"]


class FileUse(Message):
    """What a file is to be used as; a `distance` is for keep-outs."""

    use_as: str | None = Field(default=None, max_length=60)
    distance: str | float | None = None


class Answered(Message):
    """The answer to a question."""

    value: str = Field(max_length=60)


class SettingChange(Message):
    """Settings by their names in a project file: new values, and names to go back to the default."""

    set: dict[str, Any] = {}
    clear: list[str] = []


class FieldEntry(Message):
    """A setting as the page shows it under a heading of the sheet; values as in a project file."""

    name: str
    title: str
    help: str
    section: str
    heading: str
    kind: str
    unit: str = ""
    choices: list[str] | None = None
    default: Any = None
    value: Any = None
    given: bool = False
    words: str = ""


class WeightEntry(Message):
    """What a criterion counts."""

    id: str
    title: str
    help: str
    weight: float
    default: float
    group: str


class PresetEntry(Message):
    """A preset that can be chosen."""

    name: str
    title: str


class SettingsMessage(Message):
    """Every setting."""

    fields: list[FieldEntry]
    presets: list[PresetEntry]
    weights: list[WeightEntry]
