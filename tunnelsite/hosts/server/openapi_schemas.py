"""Schemas of what the server answers, after OGC 18-062r2 (OGC API - Processes - Part 1: Core 1.0), in OpenAPI 3.0."""

from __future__ import annotations

from typing import Any

from tunnelsite.hosts.server.job_list import STATUSES

TEXT = {"type": "string"}
TIME = {"type": "string", "format": "date-time"}


def _object(required: tuple[str, ...], **properties: Any) -> dict[str, Any]:
    return {"type": "object", "required": list(required), "properties": properties}


def _list(schema: dict[str, Any]) -> dict[str, Any]:
    return {"type": "array", "items": schema}


def _of(name: str) -> dict[str, str]:
    return {"$ref": f"#/components/schemas/{name}"}


_SUMMARY = {
    "id": TEXT,
    "version": TEXT,
    "title": TEXT,
    "description": TEXT,
    "jobControlOptions": _list({"type": "string", "enum": ["sync-execute", "async-execute", "dismiss"]}),
    "outputTransmission": _list({"type": "string", "enum": ["value", "reference"]}),
    "links": _list(_of("link")),
}
_ANY = {"type": "object", "additionalProperties": True}
_PROCESS = ("id", "version", "jobControlOptions", "outputTransmission")
SCHEMAS = {
    "link": _object(("href",), href=TEXT, rel=TEXT, type=TEXT, hreflang=TEXT, title=TEXT),
    "exception": _object(
        ("type", "title", "status", "detail"), type=TEXT, title=TEXT, status={"type": "integer"}, detail=TEXT
    ),
    "landingPage": _object(("links",), title=TEXT, description=TEXT, links=_list(_of("link"))),
    "confClasses": _object(("conformsTo",), conformsTo=_list(TEXT)),
    "processSummary": _object(_PROCESS, **_SUMMARY),
    "processList": _object(("processes", "links"), processes=_list(_of("processSummary")), links=_list(_of("link"))),
    "process": _object(
        (*_PROCESS, "inputs", "outputs"),
        **_SUMMARY,
        inputs={"type": "object", "additionalProperties": _of("inputDescription")},
        outputs={"type": "object", "additionalProperties": _of("outputDescription")},
    ),
    "inputDescription": _object(
        ("schema",), title=TEXT, schema=_ANY, minOccurs={"type": "integer"}, maxOccurs={"type": "integer"}
    ),
    "outputDescription": _object(("schema",), title=TEXT, schema=_ANY),
    "outputWanted": _object(
        (),
        transmissionMode={"type": "string", "enum": ["value", "reference"], "default": "value"},
        format=_object((), mediaType=TEXT),
    ),
    "statusInfo": _object(
        ("jobID", "status", "type"),
        processID=TEXT,
        type={"type": "string", "enum": ["process"]},
        jobID=TEXT,
        status={"type": "string", "enum": list(STATUSES)},
        message=TEXT,
        created=TIME,
        started=TIME,
        finished=TIME,
        updated=TIME,
        progress={"type": "integer", "minimum": 0, "maximum": 100},
        links=_list(_of("link")),
    ),
    "jobList": _object(
        ("jobs", "links"), jobs=_list(_of("statusInfo")), links=_list(_of("link")), numberMatched={"type": "integer"}
    ),
}
