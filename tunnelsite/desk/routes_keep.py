"""Pins A, B and C, what sets them apart, and the packet."""

from __future__ import annotations

from typing import Any

from starlette.requests import Request
from starlette.responses import FileResponse

from tunnelsite.core.errors import UsageError
from tunnelsite.desk.answers import Missing, body_of
from tunnelsite.desk.hand_messages import PacketAsked, PinGiven
from tunnelsite.desk.host import Desk
from tunnelsite.desk.messages import LETTERS, Letter, Pin
from tunnelsite.desk.packets import packet_file


async def _put(desk: Desk, request: Request) -> Any:
    letter, given = _letter(request), await body_of(request, PinGiven)
    found = await desk.ask("hand", **given.place.model_dump())
    options = [] if desk.answer is None else desk.answer["options"]
    rank = next((one["rank"] for one in options if one["place"] == given.place.model_dump()), None)
    pin = Pin(letter=letter, name=given.name, note=given.note, place=given.place, footprint=found["footprint"], ridge=found["ridge"],
              rank=rank, score=found["score"]["steady"])  # fmt: skip
    desk.kept.change({"pins": desk.kept.read().get("pins", {}) | {letter: pin.model_dump(mode="json")}})
    desk.changed()
    return await desk.state()


async def _delete(desk: Desk, request: Request) -> Any:
    letter = _letter(request)
    desk.kept.change({"pins": {name: pin for name, pin in desk.kept.read().get("pins", {}).items() if name != letter}})
    desk.changed()
    return await desk.state()


async def _compare(desk: Desk, request: Request) -> Any:
    pins = [pin.model_dump(mode="json") for pin in desk.pins()]
    if len(pins) < 2:
        raise Missing(f"{len(pins)} places are pinned", "two or three", "pin another one")
    return await desk.ask("compare", pins=pins)


async def _packet(desk: Desk, request: Request) -> Any:
    asked = await body_of(request, PacketAsked)
    return desk.packets.start(asked.letters)


async def _cancel(desk: Desk, request: Request) -> Any:
    return {"cancelled": desk.packets.job.cancel()}


async def _file(desk: Desk, request: Request) -> Any:
    return FileResponse(packet_file(desk.project, request.path_params["path"]))


def _letter(request: Request) -> Letter:
    letter: Letter = request.path_params["letter"]
    if letter not in LETTERS:
        raise UsageError(f"the pin is {letter[:10]!r}", ", ".join(LETTERS), "choose one of them")
    return letter


ROUTES = (
    ("GET", "/api/pins/compare", _compare),
    ("PUT", "/api/pins/{letter}", _put),
    ("DELETE", "/api/pins/{letter}", _delete),
    ("POST", "/api/packet", _packet),
    ("DELETE", "/api/packet", _cancel),
    ("GET", "/files/{path:path}", _file),
)
