"""A request's inputs, checked against the offer and laid into the job's folder: the only way in for a client's data."""

from __future__ import annotations

import base64
import binascii
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import jsonschema

from tunnelsite.core.describe import nearest
from tunnelsite.core.errors import UsageError
from tunnelsite.hosts.server.job_limits import Limits
from tunnelsite.hosts.server.offers import Datasets, Input, Offer
from tunnelsite.hosts.server.refusals import Refused
from tunnelsite.hosts.server.tiff_size import tiff_cells

SERVICE_NAME_LENGTH = 40
MEDIA = {
    "raster": ("image/tiff",),
    "features": ("application/geo+json", "application/json"),
    "text": ("text/plain", "text/csv"),
    "services": ("application/json",),
    "literal": ("application/json", "text/plain"),
}
FILES = {"raster": "{}.tif", "features": "{}.geojson", "text": "{}.epw"}
WANTED = {
    "raster": "a GeoTIFF as base64 text",
    "features": 'a GeoJSON FeatureCollection, {"value": {"type": "FeatureCollection", ...}}',
    "text": "the text of an EPW file",
}


@dataclass(frozen=True)
class Staged:
    """A job's inputs: files and values by input id (lists where an input may occur several times), cells of all rasters."""

    files: dict[str, Any]
    values: dict[str, Any]
    cells: int


class Stager:
    """Checks and lays out the inputs of one request.

    Arguments: folder, an empty one; datasets, what the operator offers; limits.
    """

    def __init__(self, folder: Path, datasets: Datasets, limits: Limits) -> None:
        self.folder, self.datasets, self.limits, self.cells = folder, datasets, limits, 0

    def staged(self, offer: Offer, given: Mapping[str, Any]) -> Staged:
        """Everything that was given. Errors: Refused for unknown, missing or wrong inputs; says which, and what is expected."""
        for name in given:
            if name not in offer.inputs:
                known = ", ".join(offer.inputs)
                raise _wrong(
                    f"{offer.id} has no input {_short(name)}", f"one of {known}", nearest(str(name), offer.inputs)
                )
        files: dict[str, Any] = {}
        values: dict[str, Any] = {}
        for name, item in offer.inputs.items():
            if name not in given:
                if item.least:
                    raise _wrong(f"{offer.id} was not given the input {name!r}", item.title, "add it")
                continue
            into = values if item.kind == "literal" else files
            into[name] = self._input(name, item, given[name])
        return Staged(files, values, self.cells)

    def _input(self, name: str, item: Input, given: Any) -> Any:
        if item.kind == "services":
            inner = _value(name, item, given)
            return {service: self._service(name, service, part) for service, part in _named(name, inner)}
        if item.most == 1:
            return self._one(name, item, given)
        several = given if isinstance(given, list) else [given]
        if len(several) > item.most:
            raise _wrong(f"input {name!r} was given {len(several)} times", f"at most {item.most}", "give fewer")
        return [self._one(f"{name}_{number}", item, part) for number, part in enumerate(several, 1)]

    def _service(self, name: str, service: str, part: Any) -> str:
        if not service.isidentifier() or len(service) > SERVICE_NAME_LENGTH:
            raise _wrong(f"{name!r} names a service {_short(service)}", "a plain word such as water", "rename it")
        return str(self._one(f"{name}_{service}", Input("features", "", {}), {"value": part}))

    def _one(self, name: str, item: Input, given: Any) -> Any:
        value = _value(name, item, given)
        if item.kind == "literal":
            _check(name, value, item.schema)
            return value
        if isinstance(value, dict) and set(value) == {"dataset"}:
            return self._dataset(name, item.kind, value["dataset"])
        file = self.folder / FILES[item.kind].format(name)
        file.write_bytes(self._content(name, item.kind, value))
        return str(file)

    def _dataset(self, name: str, kind: str, wanted: Any) -> str:
        known = self.datasets[kind]
        if not isinstance(wanted, str) or wanted not in known:
            offered = ", ".join(sorted(known)) or "none is offered here"
            raise _wrong(
                f"input {name!r} asks for the dataset {_short(wanted)}", f"one of: {offered}", "name one of these"
            )
        return known[wanted]

    def _content(self, name: str, kind: str, value: Any) -> bytes:
        if kind == "features":
            if (
                not isinstance(value, dict)
                or value.get("type") != "FeatureCollection"
                or not isinstance(value.get("features"), list)
            ):
                raise _wrong(f"input {name!r} is {_short(value)}", WANTED[kind], "send it so")
            return json.dumps(value, allow_nan=False, ensure_ascii=False).encode()
        if not isinstance(value, str):
            raise _wrong(f"input {name!r} is {_short(value)}", WANTED[kind], "send it so")
        if kind == "text":
            return value.encode()
        return self._tiff(name, value)

    def _tiff(self, name: str, text: str) -> bytes:
        try:
            content = base64.b64decode(text, validate=True)
        except (binascii.Error, ValueError):
            raise _wrong(
                f"input {name!r} is {_short(text)}, which is no base64", WANTED["raster"], "encode the file"
            ) from None
        try:
            cells = tiff_cells(content)
        except ValueError as problem:
            raise _wrong(
                f"input {name!r} is {problem} ({len(content)} bytes)", WANTED["raster"], "convert it first"
            ) from None
        self.cells += cells
        if cells > self.limits.max_cells:
            raise Refused(
                413,
                f"input {name!r} claims {cells:,} cells. Expected: at most {self.limits.max_cells:,}. "
                "Fix: cut it to the farm and its surroundings, or use larger cells.",
            )
        return content


def _value(name: str, item: Input, given: Any) -> Any:
    """The value of `inlineOrRefData`: as it is, or inside a `qualifiedInputValue`. Errors: Refused for references and other formats."""
    if not isinstance(given, dict):
        return given
    if "href" in given:
        raise Refused(
            403,
            f"input {name!r} is a reference ({_short(given['href'])}). Expected: the data themselves, {WANTED.get(item.kind, 'a value')}. "
            "This server fetches nothing and opens no file that a client names.",
        )
    if "value" not in given:
        raise _wrong(
            f"input {name!r} is an object without a value", '{"value": ...}', "put it into an object as its value"
        )
    media = given.get("mediaType")
    if media is not None and str(media).partition(";")[0].strip().lower() not in MEDIA[item.kind]:
        raise _wrong(
            f"input {name!r} has the media type {_short(media)}", " or ".join(MEDIA[item.kind]), "convert it first"
        )
    encoding = given.get("encoding")
    if encoding is not None and encoding != ("base64" if item.kind == "raster" else "UTF-8"):
        wanted = "base64" if item.kind == "raster" else "UTF-8, or no encoding at all"
        raise _wrong(f"input {name!r} has the encoding {_short(encoding)}", wanted, "encode it so")
    return given["value"]


def _named(name: str, given: Any) -> Iterator[tuple[str, Any]]:
    if not isinstance(given, dict) or len(given) > 20:
        raise _wrong(
            f"input {name!r} is {_short(given)}",
            'features by name, {"value": {"water": {...}}}, up to 20',
            "send it so",
        )
    yield from given.items()


def _check(name: str, value: Any, schema: Mapping[str, Any]) -> None:
    try:
        jsonschema.Draft202012Validator(dict(schema)).validate(value)
    except jsonschema.ValidationError as problem:
        told = {key: part for key, part in schema.items() if key not in ("title", "default")}
        message = problem.message if len(problem.message) <= 200 else problem.message[:197] + "..."
        raise _wrong(f"input {name!r}: {message}", f"a value of the schema {json.dumps(told)}", "correct it") from None


def _wrong(given: str, expected: str, fix: str) -> Refused:
    return Refused(400, str(UsageError(given, expected, fix)))


def _short(value: Any) -> str:
    """A value for a message: cut, so that no data are repeated."""
    shown = repr(value if isinstance(value, (str, int, float, bool, type(None))) else type(value).__name__)
    return shown if len(shown) <= 60 else shown[:57] + "..."
