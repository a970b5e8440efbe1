"""The six headings of the sheet, each with one line of state, and what has to be asked."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import Any, Literal

from tunnelsite.core.errors import UsageError
from tunnelsite.desk.messages import AnswerChoice, PacketEntry, Pin, Question, SheetHeading
from tunnelsite.desk.page_words import message_of
from tunnelsite.desk.project import Project
from tunnelsite.io.read.drawn import BUILDING, KEEP_OUT, LAMP, ROAD, SERVICE, TREE, TREE_LINE, WALL
from tunnelsite.report.plain_words import house_words
from tunnelsite.settings.model import period_words

SURROUNDINGS = ("surface", "obstacles", "structures", "keep_out", "service", "soils", "lamps", "wind")
# What stands for a file of surroundings when it is drawn; a field is none of them.
DRAWN_AS = {TREE: "obstacles", TREE_LINE: "obstacles", WALL: "obstacles", BUILDING: "structures", KEEP_OUT: "keep_out",
            SERVICE: "service", ROAD: "service", LAMP: "lamps"}  # fmt: skip
UNITS = (("ft", "feet"), ("us-ft", "US survey feet"), ("m", "metres"), ("dm", "decimetres"), ("cm", "centimetres"))
QUESTIONS = ("elevation_unit", "far_elevation_unit")
WHY_UNIT = "A pitch, a cut and the water's way are wrong by a factor of three if feet are taken for metres."


def headings(
    project: Project, looked: Mapping[str, Any], found: Mapping[str, Any], drawn: Collection[str]
) -> list[SheetHeading]:
    """The sheet's headings. Arguments: project; looked, what reading the data gave; found, what the answer on the map says; drawn, what
    kinds of things were drawn."""
    try:
        raw = project.raw()
    except UsageError as problem:
        return [SheetHeading(id="ground", title="Ground", line=message_of(problem), state="doubt")]
    return [_ground(raw, looked), _surroundings(raw, drawn), _house(raw), *_answer(found)]


def _ground(raw: Mapping[str, Any], looked: Mapping[str, Any]) -> SheetHeading:
    line = "missing: a terrain model of the land"
    state: Literal["ok", "missing", "doubt"] = "missing"
    if raw.get("dem"):
        line, state = looked.get("ground", str(raw["dem"])), "ok"
        if looked.get("problem"):
            line, state = looked["problem"]["given"], "doubt"
        elif looked.get("doubts"):
            line, state = f"{line}; {looked['doubts'][0]}", "doubt"
        elif looked.get("land") == 0:
            line, state = f"{line}; missing: a field", "missing"
    return SheetHeading(id="ground", title="Ground", line=line, state=state)


def _surroundings(raw: Mapping[str, Any], drawn: Collection[str]) -> SheetHeading:
    given = [name for name in SURROUNDINGS if raw.get(name) or (name == "wind" and raw.get("wind_from") is not None)]
    by_hand = sorted({DRAWN_AS[what] for what in drawn if what in DRAWN_AS} - set(given), key=SURROUNDINGS.index)
    missing = [name for name in SURROUNDINGS if name not in given and name not in by_hand]
    said = {"keep_out": "keep-outs", "service": "services", "surface": "what stands on the ground", "obstacles": "trees",
            "structures": "buildings"}  # fmt: skip
    told = [said.get(name, name) for name in given] + [f"{said.get(name, name)} (drawn)" for name in by_hand]
    line = ", ".join(told) or "nothing given yet"
    if missing:
        line += "; not given: " + ", ".join(said.get(name, name) for name in missing)
    return SheetHeading(id="surroundings", title="Surroundings", line=line, state="ok" if told else "empty")


def _house(raw: Mapping[str, Any]) -> SheetHeading:
    houses = raw.get("house", "30x96ft")
    sizes = ", ".join(house_words(size) for size in (houses if isinstance(houses, list) else [str(houses)]))
    line = f"{sizes}, {raw.get('kind', 'in-ground')}, crops {season_words(str(raw.get('crop_months', '')))}"
    return SheetHeading(id="house", title="House and season", line=line, state="ok")


def season_words(period: str) -> str:
    """`1 Oct to 30 Apr` of a period as it is written; as it stands, where it cannot be read."""
    try:
        return period_words(period) if period else "all year"
    except UsageError:
        return period


def answer_lines(
    answer: Mapping[str, Any] | None, stale: bool, pins: Sequence[Pin], packets: Sequence[PacketEntry]
) -> dict[str, str]:
    """What the sheet's last three headings say. Arguments: answer on the map; stale, the project was changed since; pins; packets."""
    found = {}
    if answer is not None:
        options, words = answer["options"], "no place passes every rule"
        if options:
            words = f"{len(options)} option{'s' * (len(options) > 1)}, best {options[0]['score']:.0f} of 100"
        found["find"] = words + ("; the project was changed since" if stale else "")
        found["find_state"] = "doubt" if stale or not options else "ok"
    if pins:
        found["choose"] = "pinned: " + ", ".join(f"{pin.letter} {pin.name}".strip() for pin in pins)
        found["choose_state"] = "ok"
    if packets:
        found["hand_over"] = (
            f"{len(packets)} {'packet' if len(packets) == 1 else 'packets'}, the last of {packets[0].words}"
        )
        found["hand_over_state"] = "ok"
    return found


def _answer(found: Mapping[str, Any]) -> list[SheetHeading]:
    return [
        SheetHeading(id="find", title="Find places", line=found.get("find", "not looked for yet"), state=found.get("find_state", "empty")),
        SheetHeading(id="choose", title="Choose", line=found.get("choose", "nothing pinned yet"), state=found.get("choose_state", "empty")),
        SheetHeading(id="hand_over", title="Hand over", line=found.get("hand_over", "nothing written yet"),
                state=found.get("hand_over_state", "empty")),
    ]  # fmt: skip


def questions(looked: Mapping[str, Any]) -> list[Question]:
    """What only the user can say, from what the readers asked."""
    problem = looked.get("problem")
    if not problem or problem["asks"] not in QUESTIONS:
        return []
    choices = [AnswerChoice(value=value, title=title) for value, title in UNITS]
    return [Question(id=problem["asks"], heading="ground", words=problem["given"], why=WHY_UNIT, choices=choices)]
