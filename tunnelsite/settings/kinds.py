"""Kinds of settings: each knows how its values are read from words, its JSON Schema and how a value is written for people."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, ClassVar

from tunnelsite.core.errors import UsageError
from tunnelsite.core.units import FOOT_M, angle_deg, length_m, number, slope_fraction, whole_number

MOST_WORDS = 60  # letters of an amount written with its unit


def _metavar(usual: str) -> Any:
    return dataclasses.field(default=usual, kw_only=True)


@dataclass(frozen=True)
class Setting:
    """What a field says of itself; it stands beside the field's type as `Annotated[float, Length("Ridge height", ...)]`.

    Attributes:
        title: a few words, as on a form. help: one or two sentences. section: heading under which it stands.
        without: what holds where nothing is given and the default is None. was: former names of the option, without dashes.
        metavar: what stands for the value in a help text. unit: SI unit of the value, '' for words and pure numbers.
    """

    title: str
    help: str
    section: str = ""
    _: dataclasses.KW_ONLY
    without: str = ""
    was: tuple[str, ...] = ()
    metavar: str = "TEXT"
    unit: ClassVar[str] = ""

    def read(self, value: Any, what: str) -> Any:
        """The value from words or a number; `what` names the setting in messages. Errors: UsageError."""
        return value

    def schema(self) -> dict[str, Any]:
        """JSON Schema (2020-12) of what may be given, without words and default."""
        return {"type": "string"}

    def shown(self, value: Any) -> str:
        """A value for people."""
        return f"{value:g} {self.unit}".strip() if isinstance(value, float) else str(value)

    def __get_pydantic_core_schema__(self, source: Any, handler: Callable[[Any], Any]) -> Any:
        """Pydantic reads the words first and checks the type afterwards."""
        from pydantic_core import core_schema  # only the model of a screening needs it

        def read(value: Any, about: Any) -> Any:
            return None if value is None else self.read(value, key_of(about.field_name).replace("_", " "))

        return core_schema.with_info_before_validator_function(read, handler(source))


@dataclass(frozen=True)
class Text(Setting):
    """Words."""


@dataclass(frozen=True)
class File(Setting):
    """The path of a file to read; in a project file it is seen from where that lies. `of`: raster, features, text or file."""

    of: str = "file"
    metavar: str = _metavar("FILE")


@dataclass(frozen=True)
class Output(Setting):
    """The path of a file or folder to write: for the command line alone."""

    metavar: str = _metavar("FILE")


@dataclass(frozen=True)
class Flag(Setting):
    """Yes or no; on the command line the bare option says yes."""

    def read(self, value: Any, what: str) -> Any:
        """True or False, from a truth value or the words true and false."""
        words = {"true": True, "false": False, "yes": True, "no": False}
        found = words.get(value.strip().lower()) if isinstance(value, str) else value
        if not isinstance(found, bool):
            raise UsageError(f"{what} is {value!r}", "true or false", "correct it")
        return found

    def schema(self) -> dict[str, Any]:
        return {"type": "boolean"}

    def shown(self, value: Any) -> str:
        return "yes" if value else "no"


@dataclass(frozen=True)
class Choice(Setting):
    """One of a few words; `choices` is filled from the field's `Literal` where it is left out."""

    choices: tuple[str, ...] = ()
    metavar: str = _metavar("WORD")

    def read(self, value: Any, what: str) -> Any:
        """The word itself, if it is one of the choices, in capitals or not."""
        same = [one for one in self.choices if one.casefold() == str(value).strip().casefold()]
        if self.choices and not same:
            raise UsageError(f"{what} is {value!r}", " or ".join(self.choices), "choose one of these")
        return same[0] if same else value

    def schema(self) -> dict[str, Any]:
        return {"type": "string", "enum": list(self.choices)}


@dataclass(frozen=True)
class Number(Setting):
    """A number within a range, both ends included."""

    least: float = -math.inf
    most: float = math.inf

    metavar: str = _metavar("NUMBER")

    def read(self, value: Any, what: str) -> float:
        """The number, from digits or a fraction such as 3/4."""
        return self._within(number(value, what), value, what)

    def _within(self, found: float, value: Any, what: str) -> float:
        if not self.least <= found <= self.most:
            raise UsageError(f"{what} is {value!r}", self._range(), "correct it")
        return found

    def _range(self) -> str:
        return f"{self.least:g} to {self.most:g}" if math.isfinite(self.most) else f"{self.least:g} or more"

    def _bounds(self) -> dict[str, float]:
        bounds = {"minimum": self.least, "maximum": self.most}
        return {name: value for name, value in bounds.items() if math.isfinite(value)}

    def schema(self) -> dict[str, Any]:
        return {"type": "number", **self._bounds()}


@dataclass(frozen=True)
class Share(Number):
    """A part of a whole, 0 to 1."""

    least: float = 0.0
    most: float = 1.0

    metavar: str = _metavar("SHARE")


@dataclass(frozen=True)
class Whole(Number):
    """A whole number within a range, both ends included."""

    def read(self, value: Any, what: str) -> int:
        """The whole number."""
        return whole_number(value, what, int(self.least), int(self.most))

    def schema(self) -> dict[str, Any]:
        return {"type": "integer", "minimum": int(self.least), "maximum": int(self.most)}


@dataclass(frozen=True)
class Length(Number):
    """A length [m], from words such as 20ft or from a number of metres."""

    least: float = 0.0
    most: float = 1e5

    metavar: str = _metavar("LENGTH")
    unit: ClassVar[str] = "m"

    def read(self, value: Any, what: str) -> float:
        """The length in metres."""
        return length_m(value, what, least_m=self.least, most_m=self.most)

    def schema(self) -> dict[str, Any]:
        words = {"type": "string", "maxLength": MOST_WORDS}
        return {"anyOf": [{"type": "number", **self._bounds()}, words]}

    def shown(self, value: Any) -> str:
        """In metres, or in feet where that is the round number."""
        feet = value / FOOT_M
        in_feet = round(feet) and math.isclose(feet, round(feet)) and not math.isclose(value, round(value, 1))
        return f"{feet:.0f} ft" if in_feet else f"{value:g} m"


@dataclass(frozen=True)
class Slope(Number):
    """A slope [rise over run], from words such as 0.5 % or 3/4 in per 12 ft, or from a fraction."""

    least: float = 0.0
    most: float = 0.999

    metavar: str = _metavar("SLOPE")
    unit: ClassVar[str] = "fraction"

    def read(self, value: Any, what: str) -> float:
        """The slope as a fraction."""
        found = slope_fraction(value, what)
        if not self.least <= found <= self.most and self.most != Slope.most:
            expected = f"{100 * self.least:g} to {100 * self.most:g} %"
            raise UsageError(f"{what} is {value!r}", expected, "correct it")
        return found

    def schema(self) -> dict[str, Any]:
        words = {"type": "string", "maxLength": MOST_WORDS}
        return {"anyOf": [{"type": "number", "minimum": self.least, "maximum": self.most}, words]}

    def shown(self, value: Any) -> str:
        """In per cent, or as 1/n where that is exact."""
        if value and not math.isclose(100 * value, round(100 * value, 2)) and math.isclose(1 / value, round(1 / value)):
            return f"1/{1 / value:.0f}"
        return f"{100 * value:g} %"


@dataclass(frozen=True)
class Angle(Number):
    """Degrees clockwise from true north, from a number, a compass word (NW) or both ends of a ridge (E-W)."""

    least: float = -360.0
    most: float = 360.0

    metavar: str = _metavar("DEG")
    unit: ClassVar[str] = "deg"

    def read(self, value: Any, what: str) -> float:
        """The angle in degrees."""
        return self._within(angle_deg(value, what), value, what)

    def schema(self) -> dict[str, Any]:
        words = {"type": "string", "maxLength": MOST_WORDS}
        return {"anyOf": [{"type": "number", **self._bounds()}, words]}


@dataclass(frozen=True)
class Turn(Number):
    """An angle between two directions [deg]."""

    least: float = 0.0
    most: float = 90.0

    metavar: str = _metavar("DEG")
    unit: ClassVar[str] = "deg"


@dataclass(frozen=True)
class Several(Setting):
    """A list of texts; on the command line the option is repeated. `split`: or one text with commas. `files`: paths."""

    metavar: str = _metavar("TEXT")
    split: bool = False
    files: bool = False

    def read(self, value: Any, what: str) -> Any:
        """A list, from a list or from one text."""
        if self.split and isinstance(value, str):
            return [part.strip() for part in value.split(",") if part.strip()]
        return list(value) if isinstance(value, list | tuple) else [value]

    def schema(self) -> dict[str, Any]:
        return {"type": "array", "items": {"type": "string"}}

    def shown(self, value: Any) -> str:
        return ", ".join(value) if value else "none"


@dataclass(frozen=True)
class ByName(Setting):
    """Values by name: NAME=VALUE on the command line, a table in a project file; `parts`: NAME.PART=VALUE, a table of tables.

    Attributes: files, whether the values are paths; value, kind of the values in JSON.
    """

    metavar: str = _metavar("NAME=VALUE")
    files: bool = False
    parts: bool = False
    value: str = "string"

    def schema(self) -> dict[str, Any]:
        inner = {"type": "object"} if self.parts else {"type": self.value}
        return {"type": "object", "additionalProperties": inner}

    def shown(self, value: Any) -> str:
        return "none" if not value else ", ".join(f"{name} = {one}" for name, one in value.items())


def key_of(name: str) -> str:
    """The name of a field in a project file, on the command line and in JSON: without the unit at its end."""
    for ending in ("_m", "_deg", "_h", "_s"):
        if name.endswith(ending):
            return name.removesuffix(ending)
    return name
