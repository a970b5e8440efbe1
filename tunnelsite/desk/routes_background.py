"""What lies under the map besides the shaded ground, and its tiles."""

from __future__ import annotations

from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from tunnelsite.desk.answers import body_of
from tunnelsite.desk.background import BackgroundAsked
from tunnelsite.desk.host import Desk

KEPT_S = 3600  # by the browser; the address changes with the file


async def _shown(desk: Desk, request: Request) -> Any:
    return desk.backgrounds.shown()


async def _choose(desk: Desk, request: Request) -> Any:
    desk.backgrounds.choose(await body_of(request, BackgroundAsked))
    return desk.backgrounds.shown()


async def _tile(desk: Desk, request: Request) -> Response:
    place = request.path_params
    found = await desk.backgrounds.tile(place["zoom"], place["column"], place["row"])
    return Response(found.content, media_type=found.kind, headers={"Cache-Control": f"private, max-age={KEPT_S}"})


ROUTES = (
    ("GET", "/api/background", _shown),
    ("PUT", "/api/background", _choose),
    ("GET", "/api/background/{zoom:int}/{column:int}/{row:int}", _tile),
)
