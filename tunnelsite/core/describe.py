"""Descriptions written once: from them come validation, options, documentation, JSON Schema and process descriptions."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from tunnelsite.core.errors import UsageError
from tunnelsite.core.sources import source_words

if TYPE_CHECKING:
    import numpy as np

_JSON_TYPES = {float: "number", int: "integer", bool: "boolean", str: "string"}
# How a raster travels inside JSON (OGC 18-062r2, 7.11.2.2: binary values are base64; OGC 19-008r4 for the media type).
RASTER_SCHEMA = {
    "type": "string",
    "contentMediaType": "image/tiff; application=geotiff",
    "contentEncoding": "base64",
}
JOB_CONTROL = ("sync-execute", "async-execute", "dismiss")
_ELEVATIONS = ("ground", "surface", "far_ground", "filled")  # the first word of layers that are heights above a datum


@dataclass(frozen=True)
class Parameter:
    """One typed setting of a criterion or process.

    Attributes:
        id: python name. title: a few words. default: also gives the type; NaN = there is none. unit: `` for pure numbers and words.
        least, most: accepted range of numbers, both ends included. choices: accepted words.
        was, now: a former name, which is refused, and how the value of this one follows from it.
    """

    id: str
    title: str
    default: float | int | bool | str
    unit: str = ""
    least: float = -math.inf
    most: float = math.inf
    choices: tuple[str, ...] = ()
    was: str = ""
    now: str = ""

    def checked(self, value: Any, owner: str) -> Any:
        """`value` as the parameter's type. Errors: UsageError naming the owner, the value and the range."""
        kind = type(self.default)
        try:
            if kind is bool and isinstance(value, str):
                value = {"true": True, "false": False}[value.lower()]
            result: Any = kind(value)
        except (TypeError, ValueError, KeyError, OverflowError):
            raise UsageError(f"{owner}: {self.id} is {value!r}", f"a {_JSON_TYPES[kind]}", "correct it") from None
        if kind in (int, float) and not (self.least <= result <= self.most and math.isfinite(result)):
            raise UsageError(
                f"{owner}: {self.id} is {value!r}", f"{self.least:g} to {self.most:g} {self.unit}".strip(), "correct it"
            )
        if kind is int and isinstance(value, float) and value != result:
            raise UsageError(f"{owner}: {self.id} is {value!r}", "a whole number", "correct it")
        if self.choices and result not in self.choices:
            raise UsageError(
                f"{owner}: {self.id} is {value!r}", "one of " + ", ".join(self.choices), "choose one of these"
            )
        return result

    def json_schema(self) -> dict[str, Any]:
        """JSON Schema (2020-12) of the value."""
        schema: dict[str, Any] = {"type": _JSON_TYPES[type(self.default)]}
        if self.default == self.default:
            schema["default"] = self.default
        schema["title"] = f"{self.title} [{self.unit}]" if self.unit else self.title
        if math.isfinite(self.least):
            schema["minimum"] = self.least
        if math.isfinite(self.most):
            schema["maximum"] = self.most
        if self.choices:
            schema["enum"] = list(self.choices)
        return schema


@dataclass(frozen=True)
class LayerSpec:
    """A layer that is read or made: its id, unit, a few words on what it holds, and whether a process can do without. `half`: three
    figures are enough, so a screening keeps it in half precision. `classes`: its numbers are those of classes, never averaged.
    `no_data`: the whole number that stands for no data in an array of whole numbers, which has no NaN.
    `unless`: layers that make it needless where all of them are there.

    A unit with commas is that of the columns of a table, a row a step; any other is that of a raster.
    """

    id: str
    unit: str
    title: str
    optional: bool = False
    half: bool = False
    classes: bool = False
    no_data: int | None = None
    unless: tuple[str, ...] = ()

    @property
    def is_table(self) -> bool:
        """Whether it holds rows of numbers rather than a raster."""
        return "," in self.unit

    @property
    def is_elevation(self) -> bool:
        """Whether it holds heights above the datum that all such layers of a run share."""
        return self.unit == "m" and self.id.startswith(_ELEVATIONS)

    def stored(self, values: np.ndarray, datum_m: float) -> np.ndarray:
        """The values as a file holds them: heights absolute rather than from the datum, NaN where there is no data."""
        import numpy as np  # not at the start: help is made from descriptions, and takes half as long without

        if self.is_elevation:
            return (values.astype(np.float64) + datum_m).astype(np.float32)
        if self.no_data is None:
            return values
        return np.where(values == self.no_data, np.float32(np.nan), values)

    def json_schema(self) -> dict[str, Any]:
        """JSON Schema of the layer inside a JSON document: a GeoTIFF in base64, or rows of numbers."""
        if not self.is_table:
            return dict(RASTER_SCHEMA)
        columns = self.unit.count(",") + 1  # the last one may be left out, or come once for each of up to three kinds
        row = {"type": "array", "items": {"type": "number"}, "minItems": columns - 1, "maxItems": columns + 2}
        return {"type": "array", "items": row, "minItems": 1}


@dataclass(frozen=True)
class Description:
    """What a criterion or process says of itself.

    Attributes:
        id: lower-case words joined by `_`. title: a few words. text: one or two sentences.
        reads, makes: layers in and out. parameters: typed settings. source: of a process's method: keys of
        `sources.toml`, or a text (a criterion's are in its rubrics). unit: of a criterion's measure.
    """

    id: str
    title: str
    text: str
    reads: tuple[LayerSpec, ...] = ()
    makes: tuple[LayerSpec, ...] = ()
    parameters: tuple[Parameter, ...] = ()
    source: str = ""
    unit: str = ""

    def checked(self, given: dict[str, Any]) -> dict[str, Any]:
        """Every parameter with its given or default value. Errors: UsageError for unknown names and wrong values."""
        known = {parameter.id: parameter for parameter in self.parameters}
        for name in given:
            if name not in known:
                former = {parameter.was: parameter.now for parameter in self.parameters}
                fix = f"say {former[name]}" if name in former else nearest(name, known)
                raise UsageError(f"{self.id} has no parameter {name!r}", ", ".join(known) or "no parameter", fix)
        return {
            name: parameter.checked(given[name], self.id) if name in given else parameter.default
            for name, parameter in known.items()
        }

    def json_schema(self) -> dict[str, Any]:
        """JSON Schema (2020-12) of the parameters as one object."""
        return {
            "$schema": "https://json-schema.org/draft/2020-12/schema",
            "title": self.title,
            "description": self.text,
            "type": "object",
            "properties": {parameter.id: parameter.json_schema() for parameter in self.parameters},
            "additionalProperties": False,
        }

    def process_description(self, version: str) -> dict[str, Any]:
        """Process description of OGC API - Processes 1.0 (OGC 18-062r2, schemas process.yaml and below).

        A parameter has a default, so its `minOccurs` is 0.
        """
        layers = {
            spec.id: {
                "title": f"{spec.title} [{spec.unit}]",
                "schema": spec.json_schema(),
                "minOccurs": 0 if spec.optional else 1,
                "maxOccurs": 1,
            }
            for spec in self.reads
        }
        words = {
            item.id: {"title": item.title, "schema": item.json_schema(), "minOccurs": 0, "maxOccurs": 1}
            for item in self.parameters
        }
        return {
            "id": self.id,
            "version": version,
            "title": self.title,
            "description": f"{self.text} Source: {source_words(self.source)}" if self.source else self.text,
            "jobControlOptions": list(JOB_CONTROL),
            "outputTransmission": ["value", "reference"],
            "inputs": layers | words,
            "outputs": {
                spec.id: {"title": f"{spec.title} [{spec.unit}]", "schema": spec.json_schema()} for spec in self.makes
            },
        }


def nearest(word: str, known: Iterable[str]) -> str:
    """`did you mean ...?` for a misspelt word, or `remove it`."""
    import difflib  # only needed on the way to an error message

    close = difflib.get_close_matches(word, list(known), n=1, cutoff=0.5)
    return f"did you mean {close[0]!r}?" if close else "remove it"


def kind_words(problem: dict[str, Any]) -> str:
    """What a value should have been, in plain words, from an error of pydantic's (`ValidationError.errors()`)."""
    kinds = {"string": "text", "dict": "a table of NAME = VALUE", "float": "a number", "int": "a whole number"}
    kinds |= {"bool": "true or false", "list": "a list"}
    kind = str(problem["type"])
    if kind == "literal_error":
        return str(problem["ctx"]["expected"]).replace("'", "")
    return kinds.get(kind.partition("_")[0], "a value of the right kind")
