"""Messages as the page shows them: an option of the command line becomes the field or the use of a file on the page that answers it."""

from __future__ import annotations

import re
from functools import cache

from tunnelsite.core.errors import TunnelsiteError
from tunnelsite.desk.project import FARM
from tunnelsite.desk.roles import ROLES
from tunnelsite.settings.field import Field, fields_of
from tunnelsite.settings.kinds import ByName, File, Output, Several
from tunnelsite.settings.model import Settings

HEADINGS = {"ground": "Ground", "surroundings": "Surroundings", "house": "House and season", "find": "Find places",
            "choose": "Choose", "hand_over": "Hand over"}  # fmt: skip
UNDER = {
    "Ground and parcels": "ground",
    "What to stay clear of": "surroundings",
    "Services, soil and wind": "surroundings",
    "House and ridge": "house",
    "Season and light": "house",
    "Pad": "house",
    "What matters": "find",
    "The answer": "find",
}  # the sections of the settings, by heading of the sheet
OWN_FORM = ("house", "preset", "weight")  # lists and tables with a form of their own
NO_FIELD = ("drawn", "overwrite")
GATHER = {
    "host": "“hosts” of the source in sources.toml",
    "sources": "a list of sources (sources.toml) dropped on the page",
    "most": "the bound (tunnelsite gather --most)",
    "ground": "“Bare ground (heights)” under “Get data from a source”",
    "points": "“Survey points” under “Get data from a source”",
    "unit": "“Heights, where the files do not say” under “Get data from a source”",
}  # options of `gather`, whose values mean nothing on the page
VALUE = r"m|dm|cm|ft|us-ft|\d+(?:\.\d+)?[a-z]*|[A-Z]{2,}[\w:=@]*(?:,[A-Z][\w:=@]*)*"
OPTION = re.compile(rf"`?(?<![\w-])--(?P<name>[a-z]+(?:-[a-z]+)*)(?P<value>[ =](?:{VALUE})(?![\w.]))?`?")
ELSEWHERE = re.compile(r"; the setting \w+ does the same in a project file, in Python and over HTTP")


def heading_of(field: Field) -> str:
    """The heading of the sheet under which a setting has a field, `` where it has none."""
    listed = isinstance(field.words, File | Output | ByName | Several) and field.key not in OWN_FORM
    return "" if listed or field.key in NO_FIELD else UNDER.get(field.words.section, "")


def on_the_page(words: str) -> str:
    """Words of a message with every option in them named as the page names it."""
    return OPTION.sub(_heading_in_place, ELSEWHERE.sub("", words)) if "--" in words else words


def message_of(problem: TunnelsiteError) -> str:
    """An error in the words of the page."""
    return on_the_page(str(problem))


def _heading_in_place(option: re.Match[str]) -> str:
    name, value = option["name"], (option["value"] or "")[1:]
    place = _places().get(name, f"--{name} of the command line")
    return f"{place}: {value}" if value and name not in GATHER else place


@cache
def _places() -> dict[str, str]:
    """Option without its dashes: where the page has it."""
    found = dict(GATHER)
    for field in fields_of(Settings):
        if isinstance(field.words, Output) or field.key in NO_FIELD:
            continue
        heading = "house" if field.key == "weight" else heading_of(field)
        place = f"“{field.words.title}” under {HEADINGS[heading]}" if heading else f"the key “{field.key}” of {FARM}"
        found[field.option.removeprefix("--")] = place
    for role in ROLES:
        name = role.id.partition(":")[0].replace("_", "-")
        found[name] = "“Used as” in the list of files" if name == "service" else f"“{role.title}” in the list of files"
    return found
