"""Schemas of OGC 18-062r2 (OGC API - Processes - Part 1: Core 1.0.0), reduced to what a document of each kind has to hold.

Written for these tests after the standard's schemas [@ogc-processes]. They are stricter than the standard in one way: a process names its ways of running and of sending.
"""

from __future__ import annotations

TEXT = {"type": "string"}
LINK = {
    "type": "object",
    "required": ["href"],
    "properties": dict.fromkeys(("href", "rel", "type", "hreflang", "title"), TEXT),
}
DESCRIPTION = {
    "title": TEXT,
    "description": TEXT,
    "keywords": {"type": "array", "items": TEXT},
    "metadata": {"type": "array", "items": {"type": "object"}},
}
_FLAG, _COUNT, _SCHEMA = {"type": "boolean"}, {"type": "integer", "minimum": 0}, {"$ref": "#/$defs/schema"}
_NUMBER, _ANY = {"type": "number"}, {}
_SEVERAL = {"type": "array", "items": _SCHEMA}
SUMMARY = {
    "type": "object",
    "required": ["id", "version", "jobControlOptions", "outputTransmission"],
    "properties": DESCRIPTION
    | {
        "id": TEXT,
        "version": TEXT,
        "jobControlOptions": {"type": "array", "items": {"enum": ["sync-execute", "async-execute", "dismiss"]}},
        "outputTransmission": {"type": "array", "items": {"enum": ["value", "reference"]}},
        "links": {"type": "array", "items": LINK},
    },
}
LINKS = {"type": "array", "items": LINK}
TIME = {"type": "string", "pattern": r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z$"}
SCHEMAS = {
    "$schema": "https://json-schema.org/draft/2020-12/schema",
    "$defs": {
        # schema.yaml: the JSON Schema of OpenAPI 3.0 with three members of JSON Schema 2019-09; nothing else is allowed.
        "schema": {
            "type": "object",
            "additionalProperties": False,
            "properties": {
                **dict.fromkeys(("title", "pattern", "description", "format"), TEXT),
                **dict.fromkeys(("contentMediaType", "contentEncoding", "contentSchema"), TEXT),
                **dict.fromkeys(("multipleOf", "maximum", "minimum"), _NUMBER),
                **dict.fromkeys(("exclusiveMaximum", "exclusiveMinimum", "uniqueItems"), _FLAG),
                **dict.fromkeys(("nullable", "readOnly", "writeOnly", "deprecated"), _FLAG),
                **dict.fromkeys(
                    ("maxLength", "minLength", "maxItems", "minItems", "maxProperties", "minProperties"), _COUNT
                ),
                **dict.fromkeys(("allOf", "oneOf", "anyOf"), _SEVERAL),
                **dict.fromkeys(("not", "items"), _SCHEMA),
                **dict.fromkeys(("default", "example"), _ANY),
                "required": {"type": "array", "items": TEXT, "minItems": 1, "uniqueItems": True},
                "enum": {"type": "array", "minItems": 1},
                "type": {"enum": ["array", "boolean", "integer", "number", "object", "string"]},
                "properties": {"type": "object", "additionalProperties": _SCHEMA},
                "additionalProperties": {"oneOf": [_SCHEMA, _FLAG]},
            },
        },
        "inputDescription": {
            "type": "object",
            "required": ["schema"],
            "properties": DESCRIPTION
            | {
                "schema": _SCHEMA,
                "minOccurs": {"type": "integer"},
                "maxOccurs": {"oneOf": [{"type": "integer"}, {"enum": ["unbounded"]}]},
            },
        },
        "outputDescription": {
            "type": "object",
            "required": ["schema"],
            "properties": DESCRIPTION | {"schema": _SCHEMA},
        },
        "process": {
            "allOf": [
                SUMMARY,
                {
                    "required": ["inputs", "outputs", "links"],
                    "properties": {
                        "inputs": {"additionalProperties": {"$ref": "#/$defs/inputDescription"}},
                        "outputs": {"additionalProperties": {"$ref": "#/$defs/outputDescription"}},
                    },
                },
            ]
        },
        "processList": {
            "type": "object",
            "required": ["processes", "links"],
            "properties": {"processes": {"type": "array", "items": SUMMARY}, "links": LINKS},
        },
        "landingPage": {
            "type": "object",
            "required": ["links"],
            "properties": {"title": TEXT, "description": TEXT, "links": LINKS},
        },
        "confClasses": {
            "type": "object",
            "required": ["conformsTo"],
            "properties": {"conformsTo": {"type": "array", "items": TEXT, "uniqueItems": True}},
        },
        "statusInfo": {
            "type": "object",
            "required": ["jobID", "status", "type"],
            "additionalProperties": False,
            "properties": {
                "processID": TEXT,
                "type": {"enum": ["process"]},
                "jobID": TEXT,
                "status": {"enum": ["accepted", "running", "successful", "failed", "dismissed"]},
                "message": TEXT,
                "progress": {"type": "integer", "minimum": 0, "maximum": 100},
                "links": LINKS,
                **dict.fromkeys(("created", "started", "finished", "updated"), TIME),
            },
        },
        "jobList": {
            "type": "object",
            "required": ["jobs", "links"],
            "properties": {"jobs": {"type": "array", "items": {"$ref": "#/$defs/statusInfo"}}, "links": LINKS},
        },
        "results": {
            "type": "object",
            "additionalProperties": {
                "oneOf": [
                    {"type": ["string", "number", "boolean", "array"]},
                    {
                        "type": "object",
                        "required": ["value"],
                        "properties": {"value": {}, "mediaType": TEXT, "encoding": TEXT, "schema": {}},
                        "additionalProperties": False,
                    },
                    LINK,
                ]
            },
        },
        # exception.yaml, after RFC 7807
        "exception": {
            "type": "object",
            "required": ["type", "title", "status", "detail"],
            "properties": {
                "type": TEXT,
                "title": TEXT,
                "status": {"type": "integer"},
                "detail": TEXT,
                "instance": TEXT,
            },
        },
    },
}
