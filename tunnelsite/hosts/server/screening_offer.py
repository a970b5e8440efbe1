"""The whole screening as one process: its inputs are the settings of a project file, their words those of the command line."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from tunnelsite.core.describe import RASTER_SCHEMA
from tunnelsite.core.errors import UsageError
from tunnelsite.core.units import length_m
from tunnelsite.hosts.server.offers import (
    CRS_PATTERN,
    FEATURES_SCHEMA,
    GEOJSON,
    GEOPACKAGE,
    JSON,
    SCREENING,
    TEXT_SCHEMA,
    Input,
    JobOutput,
    Offer,
)
from tunnelsite.settings.field import Field, fields_of
from tunnelsite.settings.kinds import File
from tunnelsite.settings.model import Settings, settings_from
from tunnelsite.settings.paths import PATH_KEYS

MOST_SEVERAL = 20
_LENGTH = {"anyOf": [{"type": "number"}, {"type": "string", "maxLength": 60}]}
NEEDED = ("dem", "parcels")
NOT_OFFERED = ("overwrite", "service", "layer", "keep_out")  # without a meaning here, or said in another way
FREE_WORDS = ("house", "crop_months", "bare_trees", "dem_crs")  # settings that are free text and no file
TEXT = (
    "Scores every placement of a house on every parcel and ranks the best: ground, water, sun, wind, frost, night light and reach. "
    "It screens and certifies nothing: level the site in the field, have buried utilities marked before any digging, keep clear of "
    "overhead lines, ask the local authority; local codes rule."
)


def screening_offer() -> Offer:
    """The offer of the screening; it is always a job that is not waited for."""
    fields = {field.key: field for field in fields_of(Settings)}
    words = {key: f"{field.words.title}: {field.words.help}" for key, field in fields.items()}
    inputs: dict[str, Input] = {}
    for name in _files(fields, "raster"):
        inputs[name] = Input("raster", words[name], RASTER_SCHEMA, int(name in NEEDED))
    for name in _files(fields, "features"):
        inputs[name] = Input("features", words[name], FEATURES_SCHEMA, int(name in NEEDED))
    where = "where nothing may stand; several"
    inputs["keep_out"] = Input("features", where, FEATURES_SCHEMA, 0, MOST_SEVERAL)
    distance = "how far to keep from each keep_out, in the same order; default 0"
    inputs["keep_out_distance"] = Input("literal", distance, _LENGTH, 0, MOST_SEVERAL)
    inputs["service"] = Input("services", words["service"], {"type": "object"})
    for name in _files(fields, "text"):
        inputs[name] = Input("text", f"{words[name]} The text of the file.", TEXT_SCHEMA)
    for name, field in fields.items():
        if name in inputs or name in NOT_OFFERED or name in PATH_KEYS:
            continue
        schema = _schema(field)
        if schema.get("type") == "string" and "enum" not in schema and name not in FREE_WORDS:
            continue  # it may be the path of a file: none of this machine is ever read for a client
        inputs[name] = Input("literal", words[name], schema, 0, MOST_SEVERAL if name == "house" else 1)
    return Offer(SCREENING, "Screening of a farm", TEXT, inputs, _outputs(), waits=False)


def _files(fields: Mapping[str, Field], of: str) -> list[str]:
    """The settings that name a file of one kind, but for what the desk draws."""
    return [
        key
        for key, field in fields.items()
        if isinstance(field.words, File) and field.words.of == of and key != "drawn"
    ]


def _schema(field: Field) -> dict[str, Any]:
    """The schema of one setting as OGC 18-062r2 allows it: without null, lengths also as words with a unit."""
    if field.key == "house":
        return {"type": "string", "maxLength": 60, "default": field.default[0]}
    if field.key == "dem_crs":
        return {"type": "string", "pattern": CRS_PATTERN}
    default = {} if field.default is None else {"default": field.default}
    schema = field.words.schema() | default
    if schema.get("type") == "string" and "enum" not in schema:
        schema["maxLength"] = 60
    return schema


def _outputs() -> dict[str, JobOutput]:
    return {
        "sites": JobOutput(
            "everything: candidates, pads, stakes, rejections, criteria and run, in the parcels' coordinate system",
            "sites.gpkg",
            GEOPACKAGE,
            {"type": "string", "contentMediaType": GEOPACKAGE, "contentEncoding": "base64"},
        ),
        "candidates": JobOutput(
            "ranked footprints in longitude and latitude (RFC 7946)", "candidates.geojson", GEOJSON, FEATURES_SCHEMA
        ),
        "summary": JobOutput(
            "what was tried, why parcels were rejected, what was assumed, and cautions",
            "summary.json",
            JSON,
            {"type": "object", "contentMediaType": JSON},
        ),
    }


def screening_settings(task: Mapping[str, Any]) -> Settings:
    """The settings of a screening from what was staged; files are named in them as the server named them.

    Errors: UsageError for a setting that cannot be.
    """
    values = dict(task["values"])
    distances = values.pop("keep_out_distance", [])
    files = dict(task["files"])
    keep_outs = files.pop("keep_out", [])
    if len(distances) > len(keep_outs):
        raise UsageError(
            f"keep_out_distance was given {len(distances)} times, keep_out {len(keep_outs)} times",
            "at most as many distances",
            "leave some out",
        )
    metres = [length_m(distance, "keep_out_distance") for distance in distances]  # never text of the client in a path
    far = [f"{path}@{distance!r}" for path, distance in zip(keep_outs, metres, strict=False)]
    return settings_from(values | files | {"keep_out": far + keep_outs[len(distances) :]})
