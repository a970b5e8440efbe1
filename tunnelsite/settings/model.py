"""Typed settings of a screening, from a project file (TOML), the command line or Python."""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from pydantic import ModelWrapValidatorHandler, ValidationError, field_validator, model_validator

from tunnelsite.core.describe import kind_words, nearest
from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.core.house import House
from tunnelsite.core.rubric import Rubric
from tunnelsite.core.units import MONTHS, length_m, month_day, number
from tunnelsite.settings.field import json_schema
from tunnelsite.settings.fields import SECTIONS, ScreeningFields
from tunnelsite.settings.presets import preset_names, with_presets
from tunnelsite.settings.prices import Prices, read_price

MOST_TOLD = 5  # wrong settings in one message
MOST_NAME = 40  # letters of a service; it becomes a column


class WrongSettings(UsageError):
    """What is wrong with some settings, in one message. Arguments: problems, each of them."""

    def __init__(self, problems: list[UsageError]) -> None:
        self.problems = problems
        if len(problems) == 1:
            super().__init__(problems[0].given, problems[0].expected, problems[0].fix)
            return
        told = "; ".join(f"({k}) {one.given}, {_what_to_do(one)}" for k, one in enumerate(problems[:MOST_TOLD], 1))
        more = f"; and {len(problems) - MOST_TOLD} more" if len(problems) > MOST_TOLD else ""
        super().__init__(f"{len(problems)} settings are wrong: {told}{more}", "see each one", "correct them all")

    def __reduce__(self) -> tuple[object, ...]:
        return (type(self), (self.problems,))


class Settings(ScreeningFields):
    """Every setting of a screening; in a project file each stands under its option's name with `_` for `-`."""

    @model_validator(mode="wrap")
    @classmethod
    def _worded(cls, given: Any, read: ModelWrapValidatorHandler[Settings]) -> Settings:
        """The settings, or one UsageError on all that is wrong: in Python as on the command line."""
        try:
            return read(given)
        except ValidationError as problem:
            raise WrongSettings([_in_words(one) for one in problem.errors()]) from None

    @field_validator("preset")
    @classmethod
    def _preset(cls, names: list[str]) -> list[str]:
        return preset_names(names)

    @field_validator("crop_months")
    @classmethod
    def _crop_months(cls, text: str) -> str:
        crop_period(text)
        return text

    @field_validator("bare_trees")
    @classmethod
    def _bare_trees(cls, text: str | None) -> str | None:
        if text is not None and text != "never":
            crop_period(text, "bare trees")
        return text

    @field_validator("service")
    @classmethod
    def _service(cls, files: dict[str, str]) -> dict[str, str]:
        for name in files:
            if not name.replace("-", "_").isidentifier() or len(name) > MOST_NAME:
                expected = f"letters, digits, _ or -, beginning with a letter, at most {MOST_NAME}"
                raise UsageError(f"the service name is {name!r}", expected, "choose a short word such as water")
        return files

    @field_validator("layer")
    @classmethod
    def _layer(cls, files: dict[str, str]) -> dict[str, str]:
        for name in files:
            if not re.fullmatch("[a-z][a-z0-9_]*", name) or len(name) > MOST_NAME:
                expected = f"small letters, digits or _, beginning with a letter, at most {MOST_NAME}"
                raise UsageError(f"the layer name is {name!r}", expected, "choose a short word such as soil_ph")
        return files

    @field_validator("price")
    @classmethod
    def _price(cls, prices: dict[str, str]) -> dict[str, str]:
        for name, text in prices.items():
            read_price(name, text)
        return prices

    @field_validator("weight")
    @classmethod
    def _weight(cls, weights: dict[str, float]) -> dict[str, float]:
        for name, value in weights.items():
            if not 0 <= value < 1e6:
                raise UsageError(f"weight of {name} is {value}", "0 or more", "correct the weight")
        return weights

    @property
    def prices(self) -> Prices:
        """The user's own unit prices."""
        return Prices(tuple(read_price(name, text) for name, text in self.price.items()))

    @property
    def houses(self) -> list[House]:
        """The competing houses."""
        given = [House.parse(text, self.kind) for text in self.house]
        return [House(h.width_m, h.length_m, self.kind, self.ridge_m, h.name, h.feet) for h in given]

    @property
    def bearings(self) -> list[float]:
        """Ridge bearings to try [deg from true north, 0 up to 180], the wanted one first, then by distance from it."""
        count = int(self.bearing_tolerance_deg // self.bearing_step_deg)
        offsets = [sign * k * self.bearing_step_deg for k in range(1, count + 1) for sign in (-1, 1)]
        found: list[float] = []
        for offset in [0.0, *offsets]:
            bearing = (self.bearing_deg + offset) % 180.0
            if bearing not in found:
                found.append(bearing)
        return found

    @property
    def error(self) -> tuple[float | None, float | None]:
        """Standard deviation and range of the elevations' errors [m], None = not stated."""
        return self.elevation_error_m, self.error_range_m

    def rubric_for(self, criterion_id: str, built_in: Rubric) -> Rubric:
        """The built-in rubric with the project's changes. Errors: UsageError for unknown or wrong entries."""
        changes = dict(self.rubric.get(criterion_id, {}))
        known = ("full_at", "none_at", "limit", "weight", "source")
        for name in changes:
            if name not in known:
                raise UsageError(f"rubric of {criterion_id} has {name!r}", ", ".join(known), nearest(name, known))
        if changes and "source" not in changes:
            changes["source"] = "set in the project"
        if changes.get("limit") == "none":
            changes["limit"] = None
        if criterion_id in self.weight:
            changes["weight"] = self.weight[criterion_id]
        values = {name: getattr(built_in, name) for name in known} | changes
        for name in ("full_at", "none_at", "weight", "limit"):
            if values[name] is not None:
                values[name] = number(values[name], f"{name} in the rubric of {criterion_id}")
        return Rubric(**values)


def settings_schema() -> dict[str, Any]:
    """JSON Schema (2020-12) of a screening's settings, as `json_schema` makes it, and `sections`, their headings in order."""
    return json_schema(Settings, title="Settings of a screening") | {"sections": list(SECTIONS)}


def crop_period(text: str, what: str = "crop months") -> tuple[tuple[int, int], tuple[int, int]]:
    """((month, day), (month, day)), first and last day, from `10-01:04-30`, `10 Oct:30 Apr` or `Oct:Apr`. Errors: UsageError."""
    first, colon, last = str(text).partition(":")
    if not colon:
        raise UsageError(f"{what} is {text!r}", "FIRST:LAST such as 10-01:04-30 or Oct:Apr", "give both days")
    return month_day(first, what, alone=1), month_day(last, what, alone=31)


def period_words(text: str) -> str:
    """`1 Oct to 30 Apr` of a part of the year as it is written; `all year`. Errors: as `crop_period`."""
    first, last = (f"{day} {MONTHS[month - 1].capitalize()}" for month, day in crop_period(text))
    return "all year" if (first, last) == ("1 Jan", "31 Dec") else f"{first} to {last}"


def settings_from(given: dict[str, Any], *, lines: dict[str, int] | None = None, file: str = "") -> Settings:
    """Checked settings from names and values. Errors: UsageError naming the setting (and file:line) and what is expected."""
    given = with_presets(given)
    known = {field.alias or name for name, field in Settings.model_fields.items()}

    def where(name: str) -> str:
        return f"{file}:{(lines or {}).get(name, 1)}: " if file else ""

    unknown = [_with_place(_unknown(name, known), where(name)) for name in given if name not in known]
    wrong = [_with_place(one, where(name)) for name in given if name in known for one in _problems({name: given[name]})]
    if unknown or wrong:
        raise WrongSettings([*unknown, *wrong])
    settings = Settings(**given)
    if not settings.house:
        raise UsageError("no house was given", "at least one size such as 30x96ft", "give the house")
    _ = settings.houses, settings.bearings  # sizes are checked now, not after the files were read
    return settings


def _problems(given: dict[str, Any]) -> list[UsageError]:
    """What is wrong with one setting."""
    try:
        Settings(**given)
    except UsageError as problem:
        return problem.problems if isinstance(problem, WrongSettings) else [problem]
    return []


def _unknown(name: str, known: Iterable[str]) -> UsageError:
    return UsageError(f"unknown setting {name!r}", "a setting from the manual", nearest(name, known))


def _in_words(found: Any) -> UsageError:
    if found["type"] == "extra_forbidden":
        fields = Settings.model_fields.items()
        return _unknown(str(found["loc"][0]), {name for key, one in fields for name in (key, one.alias or key)})
    words = " of ".join(reversed([str(part) for part in found["loc"]][:2])) or "setting"
    return UsageError(f"{words} is {found.get('input')!r}", kind_words(found), "correct it")


def _with_place(problem: UsageError, place: str) -> UsageError:
    return UsageError(f"{place}{problem.given}", problem.expected, problem.fix)


def _what_to_do(problem: UsageError) -> str:
    """The name that was meant, or what is expected."""
    return problem.fix if problem.fix.startswith("did you mean") else f"expected: {problem.expected}"


def own_layer_parts(text: str) -> tuple[str, str]:
    """(file, unit or `classes`) from `FILE` or `FILE@UNIT`; an @ that belongs to the file's own name stays with it."""
    file, at, said = text.rpartition("@")
    return (text, "") if not at or not file or Path(text).exists() else (file, said.strip())


def keep_out_parts(text: str) -> tuple[str, float]:
    """(file, distance in metres) from `FILE` or `FILE@DISTANCE`. Errors: UsageError or InputRefused."""
    file, at, distance = text.rpartition("@")
    if not at:
        return text, 0.0
    if not file:
        raise InputRefused(f"keep-out is {text!r}", "FILE or FILE@DISTANCE", "name the file")
    try:
        return file, length_m(distance, "keep-out distance", most_m=100_000)
    except UsageError:
        if Path(text).exists():  # an @ that belongs to the file's own name
            return text, 0.0
        raise
