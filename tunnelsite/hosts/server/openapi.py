"""The OpenAPI 3.0 document of the server: whole, without a reference to what lies elsewhere."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from typing import Any

from tunnelsite import __version__
from tunnelsite.hosts.server import job_list
from tunnelsite.hosts.server.configuration import ABOUT, LICENCE, TITLE
from tunnelsite.hosts.server.openapi_schemas import SCHEMAS

JSON, PROBLEM = "application/json", "application/problem+json"
FORMAT = {
    "name": "f", "in": "query", "required": False, "description": "the format of the answer",
    "schema": {"type": "string", "enum": ["json"], "default": "json"},
}  # fmt: skip
PREFER = {
    "name": "Prefer", "in": "header", "required": False, "description": "`respond-async`: a job that is not waited for (RFC 7240)",
    "schema": {"type": "string", "enum": ["respond-async"]},
}  # fmt: skip
TOKEN = {
    "type": "http",
    "scheme": "bearer",
    "description": "a token of the client's own choice, which lists its own jobs",
}


def openapi_document(url: str, processes: Mapping[str, Mapping[str, Any]]) -> dict[str, Any]:
    """The document. Arguments: url of the server; processes, their descriptions by id."""
    paths = {
        "/": _read("getLandingPage", "What there is", "server", "landingPage"),
        "/openapi": _read(
            "getOpenapi", "This document", "server", None, "application/vnd.oai.openapi+json;version=3.0"
        ),
        "/conformance": _read("getConformance", "Classes of standards that are met", "server", "confClasses"),
        "/processes": _read("getProcesses", "The processes", "server", "processList"),
        "/jobs": _read(
            "getJobs", "The jobs made with the client's token", "jobs", "jobList", parameters=job_list.PARAMETERS
        ),
        "/jobs/{jobId}": _job(),
        "/jobs/{jobId}/results": _results("getJobResults", "Results of a job, as its request wanted them", ("jobId",)),
        "/jobs/{jobId}/results/{outputId}": _results("getJobOutput", "One output of a job", ("jobId", "outputId")),
    }
    for name, told in processes.items():
        paths |= _process(name, told)
    return {
        "openapi": "3.0.3",
        "info": {"title": TITLE, "description": ABOUT, "version": __version__, "license": LICENCE},
        "servers": [{"url": url}],
        "tags": [{"name": name} for name in ("server", "processes", "jobs")],
        "paths": paths,
        "components": {"schemas": SCHEMAS, "securitySchemes": {"token": TOKEN}},
        "security": [{}, {"token": []}],
    }


def _content(schema: str | None, media: str = JSON) -> dict[str, Any]:
    return {media: {"schema": {"type": "object"} if schema is None else _reference(schema)}}


def _reference(schema: str) -> dict[str, str]:
    return {"$ref": f"#/components/schemas/{schema}"}


def _problem(text: str) -> dict[str, Any]:
    return {"description": text, "content": _content("exception", PROBLEM)}


def _answers(good: Mapping[str, Any], **problems: str) -> dict[str, Any]:
    found = dict(good) | {status.removeprefix("_"): _problem(text) for status, text in problems.items()}
    return found | {"default": _problem("any other refusal, in words")}


def _operation(
    name: str, summary: str, tag: str, parameters: list[dict[str, Any]], responses: dict[str, Any]
) -> dict[str, Any]:
    return {"operationId": name, "summary": summary, "tags": [tag], "parameters": parameters, "responses": responses}


def _read(
    name: str, summary: str, tag: str, schema: str | None, media: str = JSON, parameters: Sequence[Any] = ()
) -> dict[str, Any]:
    good = {"200": {"description": summary, "content": _content(schema, media)}}
    answers = _answers(good, _400="a parameter cannot be what it is", _406="a format that is not offered")
    return {"get": _operation(name, summary, tag, [*parameters, FORMAT], answers)}


def _in_path(*names: str) -> list[dict[str, Any]]:
    return [
        {"name": name, "in": "path", "required": True, "schema": {"type": "string", "minLength": 1}} for name in names
    ]


def _job() -> dict[str, Any]:
    status = {"200": {"description": "the job", "content": _content("statusInfo")}}
    answers = _answers(status, _404="there is no such job for this client")
    return {
        "get": _operation("getJob", "Status of a job", "jobs", [*_in_path("jobId"), FORMAT], answers),
        "delete": _operation(
            "deleteJob", "Dismiss a job: it ends, and all of it is deleted", "jobs", _in_path("jobId"), answers
        ),
    }


def _results(name: str, summary: str, path: tuple[str, ...]) -> dict[str, Any]:
    good = {
        "200": {"description": summary, "content": {"*/*": {"schema": {"type": "string", "format": "binary"}}}},
        "204": {"description": "all outputs by reference, in headers Link"},
    }
    answers = _answers(good, _404="there is no such job or output, or it is not ready", _507="the job met a limit")
    return {"get": _operation(name, summary, "jobs", [*_in_path(*path), FORMAT], answers)}


def _process(name: str, told: Mapping[str, Any]) -> dict[str, dict[str, Any]]:
    word = "".join(part.capitalize() for part in re.split("[^a-z0-9]", name))
    read = _read(f"describe{word}", str(told["title"]), "processes", "process")
    good = {
        "200": {"description": "the results", "content": {"*/*": {"schema": {"type": "string", "format": "binary"}}}},
        "201": {
            "description": "a job was accepted; its address is in the header Location",
            "content": _content("statusInfo"),
        },
        "204": {"description": "the results, all by reference, in headers Link"},
    }
    answers = _answers(
        good, _400="the request cannot be served as it is", _403="a reference, or an address to call: neither is used",
        _413="too large", _415="a body that is no JSON", _503="the queue is full; Retry-After says when to come again",
        _507="the job met a limit",
    )  # fmt: skip
    run = _operation(f"execute{word}", f"Run {name}", "processes", [PREFER], answers)
    run["requestBody"] = {"required": True, "content": {JSON: {"schema": _execute(told)}}}
    return {f"/processes/{name}": read, f"/processes/{name}/execution": {"post": run}}


def _execute(told: Mapping[str, Any]) -> dict[str, Any]:
    """An execute request of one process: the standard's, with the inputs it really has."""
    inputs = {name: _input(item) for name, item in told["inputs"].items()}
    required = [name for name, item in told["inputs"].items() if item["minOccurs"]]
    wanted: dict[str, Any] = {"type": "object", "properties": inputs, "additionalProperties": False}
    outputs = {"type": "object", "properties": dict.fromkeys(told["outputs"], _reference("outputWanted"))}
    properties = {
        "inputs": wanted | ({"required": required} if required else {}),
        "outputs": outputs | {"additionalProperties": False},
        "response": {"type": "string", "enum": ["raw", "document"], "default": "raw"},
    }
    return {"type": "object", "required": ["inputs"], "properties": properties}


def _input(item: Mapping[str, Any]) -> dict[str, Any]:
    value = _plain(item["schema"])
    qualified = {
        "type": "object",
        "required": ["value"],
        "properties": {"value": value, "mediaType": {"type": "string"}, "encoding": {"type": "string"}},
    }
    one = {"anyOf": [value, qualified], "title": item["title"]}
    several = {"type": "array", "items": {"anyOf": [value, qualified]}, "maxItems": item["maxOccurs"]}
    return one if item["maxOccurs"] == 1 else {"anyOf": [value, qualified, several], "title": item["title"]}


def _plain(schema: Any) -> Any:
    """A schema with the members that OpenAPI 3.0 knows: what is base64 has the format `byte`."""
    if isinstance(schema, list):
        return [_plain(item) for item in schema]
    if not isinstance(schema, Mapping):
        return schema
    found = {name: _plain(value) for name, value in schema.items() if not name.startswith("content")}
    return found | ({"format": "byte"} if schema.get("contentEncoding") == "base64" else {})


def references(document: Mapping[str, Any]) -> set[str]:
    """Every `$ref` in a document."""
    return set(re.findall(r'"\$ref": "([^"]*)"', json.dumps(document)))
