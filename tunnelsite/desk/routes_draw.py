"""What is drawn on the map."""

from __future__ import annotations

import asyncio
import re
from typing import Any

from starlette.requests import Request

from tunnelsite.core.errors import UsageError
from tunnelsite.desk.answers import Conflict, json_of
from tunnelsite.desk.host import Desk

ID = re.compile(r"[A-Za-z0-9_-]{1,64}")


async def _drawn(desk: Desk, request: Request) -> Any:
    return desk.drawing.collection()


async def _put(desk: Desk, request: Request) -> Any:
    name = _id(desk, request)
    given = await json_of(request)
    async with desk.writing:
        version = await asyncio.to_thread(desk.drawing.put, name, given)
    desk.drawn()
    return {"version": version}


async def _delete(desk: Desk, request: Request) -> Any:
    async with desk.writing:
        version = await asyncio.to_thread(desk.drawing.remove, _id(desk, request))
    desk.drawn()
    return {"version": version}


def _id(desk: Desk, request: Request) -> str:
    name: str = request.path_params["name"]
    if not ID.fullmatch(name):
        raise UsageError(f"the id is {name[:40]!r}", "letters, digits, - and _, at most 64", "load the page again")
    if not desk.project.begun:
        raise Conflict("there is no project yet", "a project", "begin first")
    return name


ROUTES = (
    ("GET", "/api/drawn", _drawn),
    ("PUT", "/api/drawn/{name}", _put),
    ("DELETE", "/api/drawn/{name}", _delete),
)
