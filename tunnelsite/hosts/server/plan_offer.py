"""A kind of plan as a process: inputs from its description and the settings of a screening, outputs from what it gives."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from tunnelsite.core import catalogue
from tunnelsite.core.describe import nearest
from tunnelsite.core.errors import UsageError
from tunnelsite.core.placement import Placement
from tunnelsite.core.plan_kind import LAYER, PICTURE, SUMMARY, TABLE, PlanKind
from tunnelsite.core.sources import source_words
from tunnelsite.hosts.server.offers import FEATURES_SCHEMA, GEOJSON, JSON, Input, JobOutput, Offer
from tunnelsite.hosts.server.screening_offer import screening_offer, screening_settings
from tunnelsite.settings.field import fields_of, json_schema, read_settings
from tunnelsite.settings.kinds import File, Output
from tunnelsite.settings.model import Settings

SVG, CSV = "image/svg+xml", "text/csv"
# What every plan gets of the site, and how its files are to be read.
SITE = ("dem", "parcels", "elevation_unit", "dem_crs", "band", "zero_is_nodata", "cell", "halo", "kind", "ridge")
STANDARD = ("type", "enum", "anyOf", "items", "minItems", "maxItems", "minimum", "maximum", "maxLength",
            "format", "default")  # fmt: skip
HOUSE = {"type": "string", "maxLength": 60, "default": "30x96ft"}


@dataclass(frozen=True)
class PlanAsked:
    """What a request asks for: settings that name the staged files, the place, the plan's own settings."""

    settings: Settings
    place: Placement
    own: Any


def plan_offer(kind: PlanKind) -> Offer:
    """The offer of one kind of plan, from its own description."""
    words = f"{kind.text} Source: {source_words(kind.source)}"
    outputs = {SUMMARY: JobOutput("its numbers, notes and cautions", f"{SUMMARY}.json", JSON, _media(JSON, "object"))}
    made: dict[str, tuple[str, str, dict[str, Any]]] = {
        LAYER: (".geojson", GEOJSON, FEATURES_SCHEMA),
        TABLE: (".csv", CSV, _media(CSV)),
        PICTURE: (".svg", SVG, _media(SVG)),
    }
    for one in kind.gives:
        ending, media, schema = made[one.kind]
        outputs[one.id] = JobOutput(one.title, f"{one.id}{ending}", media, schema, one.optional)
    return Offer(kind.id, kind.title, words, _inputs(kind), outputs, waits=True)


def _inputs(kind: PlanKind) -> dict[str, Input]:
    known = screening_offer().inputs
    unknown = [name for name in (*kind.reads, *kind.follows) if name not in known]
    if unknown:
        raise UsageError(
            f"the plan {kind.id} counts on {unknown[0]!r}",
            "inputs and settings of a screening",
            nearest(unknown[0], known),
        )
    inputs = {name: known[name] for name in ("dem", "parcels")}
    for name, title, most in (("lon", "longitude", 180), ("lat", "latitude", 90)):
        schema = {"type": "number", "minimum": -most, "maximum": most}
        inputs[name] = Input("literal", f"{title} of the middle of the house [deg, WGS 84]", schema, 1)
    inputs["bearing"] = known["bearing"]
    inputs["house"] = Input("literal", "size of the house, 30x96ft or 9.1x29.3m", HOUSE)
    names = [*SITE, *kind.reads, *kind.follows]
    names += ["keep_out_distance"] if "keep_out" in kind.reads else []
    inputs |= {name: known[name] for name in names if name not in inputs}
    return inputs | {name: Input("literal", *schema) for name, schema in _own(kind).items()}


def _own(kind: PlanKind) -> dict[str, tuple[str, dict[str, Any]]]:
    """(Title, schema) of the plan's own settings by key; none that names a file: none of this machine is read for a client."""
    told = json_schema(kind.settings)["properties"]
    found = {}
    for field in fields_of(kind.settings):
        if isinstance(field.words, File | Output):
            continue
        schema, unit = told[field.key], f" [{field.words.unit}]" if field.words.unit else ""
        kept = {
            name: schema[name] for name in STANDARD if name in schema and (name != "default" or _plain(schema[name]))
        }
        if kept.get("type") == "string" and "enum" not in kept:
            kept.setdefault("maxLength", 200)
        found[field.key] = (f"{field.words.title}{unit}: {field.words.help}", kept)
    return found


def _plain(value: Any) -> bool:
    return isinstance(value, str | int | float)


def plan_asked(kind: PlanKind, task: Mapping[str, Any]) -> PlanAsked:
    """What was staged, as the plan takes it. Errors: UsageError for settings that cannot be."""
    values = dict(task["values"])
    own = {key: values.pop(key) for key in _own(kind) if key in values}
    where = float(values.pop("lon")), float(values.pop("lat"))
    if "house" in values:
        values["house"] = [values["house"]]
    settings = screening_settings({"values": values, "files": task["files"]})
    values.pop("keep_out_distance", None)
    place = Placement(*where, settings.bearing_deg, settings.houses[0], settings=tuple(values.items()))
    return PlanAsked(settings, place, read_settings(kind.settings, own))


def plan_named(process_id: str) -> PlanKind | None:
    """The kind of plan of this id, None where the id is no plan's; none is imported for a built-in process, whose name no plan may take."""
    if process_id in catalogue.BUILT_IN_PROCESSES:
        return None
    return next((kind for kind in catalogue.plans() if kind.id == process_id), None)


def _media(media_type: str, kind: str = "string") -> dict[str, str]:
    return {"type": kind, "contentMediaType": media_type}
