"""Map images, contours and values, from the worker that holds the farm."""

from __future__ import annotations

from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from tunnelsite.desk.answers import Missing, number_of
from tunnelsite.desk.host import Desk

MONTHS = {str(month): month for month in range(1, 13)}


async def _layers(desk: Desk, request: Request) -> Any:
    return await desk.ask("layers")


async def _layer(desk: Desk, request: Request) -> Response:
    name = request.path_params["name"]
    content = await desk.ask("layer", name=name, month=MONTHS.get(request.query_params.get("month", "")))
    if content is None:
        raise Missing(f"there is no map image {name[:40]!r}", "one of /api/layers", "choose one of them")
    return Response(content, media_type="image/png")


async def _contours(desk: Desk, request: Request) -> Any:
    return await desk.ask("contours")


async def _value(desk: Desk, request: Request) -> Any:
    return {"items": await desk.ask("value", lon=number_of(request, "lon"), lat=number_of(request, "lat"))}


async def _features(desk: Desk, request: Request) -> Any:
    return await desk.ask("features")


ROUTES = (
    ("GET", "/api/layers", _layers),
    ("GET", "/api/layers/{name}.png", _layer),
    ("GET", "/api/contours", _contours),
    ("GET", "/api/value", _value),
    ("GET", "/api/features", _features),
)
