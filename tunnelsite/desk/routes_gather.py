"""Data from sources that the user names: nothing is fetched but what these are asked for."""

from __future__ import annotations

from typing import Any

from starlette.requests import Request

from tunnelsite.desk.answers import body_of
from tunnelsite.desk.gather_messages import GatherAsked
from tunnelsite.desk.host import Desk


async def _sources(desk: Desk, request: Request) -> Any:
    return desk.gathers.sources()


async def _size(desk: Desk, request: Request) -> Any:
    return desk.gathers.size(await body_of(request, GatherAsked))


async def _fetch(desk: Desk, request: Request) -> Any:
    return desk.gathers.fetch(await body_of(request, GatherAsked))


async def _now(desk: Desk, request: Request) -> Any:
    return desk.gathers.job.progress


async def _cancel(desk: Desk, request: Request) -> Any:
    return {"cancelled": desk.gathers.job.cancel()}


ROUTES = (
    ("GET", "/api/gather/sources", _sources),
    ("GET", "/api/gather", _now),
    ("POST", "/api/gather/size", _size),
    ("POST", "/api/gather", _fetch),
    ("DELETE", "/api/gather", _cancel),
)
