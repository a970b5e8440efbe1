"""Results of a job as OGC 18-062r2, 7.11.4 wants them: raw or as a document, each output by value or by reference."""

from __future__ import annotations

import base64
import json
import secrets
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from tunnelsite.core.describe import nearest
from tunnelsite.core.errors import UsageError
from tunnelsite.hosts.server.offers import JSON, Offer
from tunnelsite.hosts.server.refusals import Refused

WAYS = ("value", "reference")


@dataclass(frozen=True)
class RequestedOutputs:
    """What a client wants: `value` or `reference` by output id; whether as one document."""

    outputs: dict[str, str]
    document: bool


@dataclass(frozen=True)
class Answer:
    """Body and headers of an answer, and its status."""

    status: int
    body: bytes
    headers: dict[str, str]


def requested_of(offer: Offer, outputs: Any, response: Any) -> RequestedOutputs:
    """What an execute request asks for; no outputs named means all. Errors: Refused (400)."""
    if response not in ("raw", "document"):
        raise Refused(400, f"response is {str(response)[:40]!r}. Expected: raw or document.")
    if outputs is None:
        return RequestedOutputs(dict.fromkeys(offer.outputs, "value"), response == "document")
    if not isinstance(outputs, Mapping):
        raise Refused(400, 'outputs are no object. Expected: {"OUTPUT": {"transmissionMode": "value"}}.')
    found: dict[str, str] = {}
    for name, asked in outputs.items():
        if name not in offer.outputs:
            raise Refused(
                400,
                str(
                    UsageError(
                        f"{offer.id} has no output {str(name)[:60]!r}",
                        f"one of {', '.join(offer.outputs)}",
                        nearest(str(name), offer.outputs),
                    )
                ),
            )
        asked = asked if isinstance(asked, Mapping) else {}
        way = asked.get("transmissionMode", "value")
        if way not in WAYS:
            raise Refused(400, f"the transmissionMode of {name} is {str(way)[:40]!r}. Expected: value or reference.")
        _check_format(name, asked.get("format"), offer.outputs[name].media_type)
        found[name] = way
    return RequestedOutputs(found or dict.fromkeys(offer.outputs, "value"), response == "document")


def _check_format(name: str, asked: Any, media_type: str) -> None:
    media = asked.get("mediaType") if isinstance(asked, Mapping) else None
    if media is not None and str(media).partition(";")[0].strip() != media_type.partition(";")[0]:
        raise Refused(400, f"{name} was asked for as {str(media)[:60]!r}. Expected: {media_type}.")


def answer(offer: Offer, wanted: RequestedOutputs, folder: Path, url: str) -> Answer:
    """The results of a finished job. Arguments: folder with its outputs; url of its results."""
    wanted = _made(offer, wanted, folder)
    if wanted.document:
        whole = {name: _part(offer, name, way, folder, url) for name, way in wanted.outputs.items()}
        return Answer(200, json.dumps(whole, allow_nan=False).encode(), {"Content-Type": JSON})
    if all(way == "reference" for way in wanted.outputs.values()):
        links = ", ".join(
            f'<{url}/{name}>; rel="{name}"; type="{offer.outputs[name].media_type}"' for name in wanted.outputs
        )
        return Answer(204, b"", {"Link": links})
    if len(wanted.outputs) == 1:
        name = next(iter(wanted.outputs))
        return Answer(200, file_of(offer, name, folder).read_bytes(), headers_of(offer, name))
    return _multipart(offer, wanted, folder, url)


def _made(offer: Offer, wanted: RequestedOutputs, folder: Path) -> RequestedOutputs:
    """What is wanted without optional outputs that this job has none of."""
    there = {
        name: way
        for name, way in wanted.outputs.items()
        if not offer.outputs[name].optional or (folder / "outputs" / offer.outputs[name].file).is_file()
    }
    return replace(wanted, outputs=there) if there else wanted


def file_of(offer: Offer, name: str, folder: Path) -> Path:
    """The file of one output. Errors: Refused (404) where there is none."""
    item = offer.outputs.get(name)
    if item is None or not (folder / "outputs" / item.file).is_file():
        raise Refused(404, f"this job has no output {name[:60]!r}. Expected: one of {', '.join(offer.outputs)}.")
    return folder / "outputs" / item.file


def headers_of(offer: Offer, name: str) -> dict[str, str]:
    """Media type and file name of one output."""
    item = offer.outputs[name]
    return {"Content-Type": item.media_type, "Content-Disposition": f'attachment; filename="{item.file}"'}


def _part(offer: Offer, name: str, way: str, folder: Path, url: str) -> dict[str, Any]:
    media = offer.outputs[name].media_type
    if way == "reference":
        return {"href": f"{url}/{name}", "type": media, "title": offer.outputs[name].title}
    content = file_of(offer, name, folder).read_bytes()
    if media.endswith("json"):
        return {"value": json.loads(content), "mediaType": media}
    if media.startswith("text/") or media.endswith("+xml"):
        return {"value": content.decode(), "mediaType": media}
    return {"value": base64.b64encode(content).decode(), "mediaType": media, "encoding": "base64"}


def _multipart(offer: Offer, wanted: RequestedOutputs, folder: Path, url: str) -> Answer:
    """RFC 2387: a part for each output, named by its Content-ID."""
    boundary = secrets.token_hex(16)
    body = bytearray()
    for name, way in wanted.outputs.items():
        heads = {"Content-ID": f"<{name}>"} | headers_of(offer, name)
        if way == "reference":
            heads["Content-Location"] = f"{url}/{name}"
        lines = "".join(f"{head}: {text}\r\n" for head, text in heads.items())
        body += f"--{boundary}\r\n{lines}\r\n".encode()
        body += b"" if way == "reference" else file_of(offer, name, folder).read_bytes()
        body += b"\r\n"
    body += f"--{boundary}--\r\n".encode()
    return Answer(200, bytes(body), {"Content-Type": f'multipart/related; boundary="{boundary}"'})
