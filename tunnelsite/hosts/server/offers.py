"""What the server offers: each process of the catalogue and the screening, with typed inputs and outputs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from tunnelsite.core.describe import JOB_CONTROL, RASTER_SCHEMA
from tunnelsite.core.process import Process

Datasets = Mapping[str, Mapping[str, str]]  # paths by kind and id

SCREENING = "screening"  # the one offer that is no process of the catalogue
COG = "image/tiff; application=geotiff; profile=cloud-optimized"  # OGC 21-026, 8.1
GEOJSON, GEOPACKAGE, JSON = "application/geo+json", "application/geopackage+sqlite3", "application/json"
UNITS = ("m", "ft", "us-ft", "dm", "cm")
FEATURES_SCHEMA = {
    "type": "object",
    "format": "geojson-feature-collection",
    "contentMediaType": GEOJSON,
    "required": ["type", "features"],
    "properties": {"type": {"type": "string", "enum": ["FeatureCollection"]}, "features": {"type": "array"}},
}
TEXT_SCHEMA = {"type": "string", "contentMediaType": "text/plain"}
CONTENT = {"raster": RASTER_SCHEMA, "features": FEATURES_SCHEMA, "text": TEXT_SCHEMA}
CRS_PATTERN = "^EPSG:[0-9]{4,6}$"  # a name, never a text that PROJ would have to look up in files


@dataclass(frozen=True)
class Input:
    """One input: `kind` is raster, features, text, services (features by name) or literal; least and most occurrences."""

    kind: str
    title: str
    schema: dict[str, Any]
    least: int = 0
    most: int = 1

    def described(self, datasets: Datasets) -> dict[str, Any]:
        """The input as in a process description; files of the operator are named in it."""
        schema = self.schema
        if self.kind in CONTENT:
            schema = _or_dataset(schema, datasets[self.kind])
        elif self.kind == "services":
            each = _or_dataset(FEATURES_SCHEMA, datasets["features"])
            schema = {"type": "object", "additionalProperties": each}
        title, _, text = self.title.partition(": ")  # the words of a setting are `Title: a sentence or two`
        about = {"title": title} | ({"description": text} if text else {})
        return about | {"schema": schema, "minOccurs": self.least, "maxOccurs": self.most}


@dataclass(frozen=True)
class JobOutput:
    """One output: a file of a job and what it holds; optional, whether a job may have none."""

    title: str
    file: str
    media_type: str
    schema: dict[str, Any]
    optional: bool = False


@dataclass(frozen=True)
class Offer:
    """A process of the server.

    Attributes:
        id, title, text: words of the description. inputs, outputs: by id. waits: whether a client may wait for the answer.
    """

    id: str
    title: str
    text: str
    inputs: dict[str, Input]
    outputs: dict[str, JobOutput]
    waits: bool

    def description(self, version: str, datasets: Datasets) -> dict[str, Any]:
        """Process description of OGC 18-062r2 (schema process.yaml)."""
        return {
            "id": self.id,
            "version": version,
            "title": self.title,
            "description": self.text,
            "jobControlOptions": [way for way in JOB_CONTROL if self.waits or way != "sync-execute"],
            "outputTransmission": ["value", "reference"],
            "inputs": {name: item.described(datasets) for name, item in self.inputs.items()},
            "outputs": {name: {"title": item.title, "schema": item.schema} for name, item in self.outputs.items()},
        }


def process_offer(process: Process, version: str) -> Offer:
    """The offer of one process of the catalogue, from its own description."""
    about = process.description
    told = about.process_description(version)
    layers = {spec.id: spec for spec in about.reads}
    inputs: dict[str, Input] = {}
    for name, item in told["inputs"].items():
        spec = layers.get(name)
        kind = "raster" if spec is not None and not spec.is_table else "literal"
        least = 0 if name == "sun" else item["minOccurs"]
        inputs[name] = Input(kind, item["title"], item["schema"], least)
    if "sun" in layers:
        period = "part of the year, as 10-01:04-30, whose clear-sky sun is taken where no sun is given"
        inputs["crop_months"] = Input("literal", period, {"type": "string", "default": "01-01:12-31", "maxLength": 40})
    inputs |= READING_INPUTS
    outputs = {
        spec.id: JobOutput(
            f"{spec.title} [{spec.unit}]", f"{spec.id}.tif", COG, told["outputs"][spec.id]["schema"] | _media(COG)
        )
        for spec in about.makes
    }
    return Offer(about.id, about.title, told["description"], inputs, outputs, waits=True)


READING_INPUTS = {
    "elevation_unit": Input(
        "literal", "unit of the heights, where the raster does not say", {"type": "string", "enum": list(UNITS)}
    ),
    "dem_crs": Input(
        "literal",
        "coordinate system of the rasters, where they do not say, as EPSG:26917",
        {"type": "string", "pattern": CRS_PATTERN},
    ),
    "band": Input("literal", "band that holds the heights, where there are several", {"type": "integer", "minimum": 1}),
}


def _media(media_type: str) -> dict[str, str]:
    return {"contentMediaType": media_type}


def _or_dataset(schema: dict[str, Any], ids: Mapping[str, str]) -> dict[str, Any]:
    if not ids:
        return schema
    named = {
        "type": "object",
        "required": ["dataset"],
        "properties": {"dataset": {"type": "string", "enum": sorted(ids)}},
        "additionalProperties": False,
        "description": "a file that this server holds, by its id",
    }
    return {"oneOf": [schema, named]}
