"""The web application: the page, the questions it asks, and the gate in front of both."""

from __future__ import annotations

import contextlib
from collections.abc import AsyncIterator, Awaitable, Callable
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response, StreamingResponse
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from tunnelsite.desk import (
    routes_ask,
    routes_background,
    routes_draw,
    routes_files,
    routes_gather,
    routes_keep,
    routes_map,
    routes_phone,
    routes_run,
    routes_settings,
)
from tunnelsite.desk.answers import answered
from tunnelsite.desk.gate import Gate
from tunnelsite.desk.host import Desk
from tunnelsite.desk.project import Project

PAGE = Path(__file__).parent / "page"
NOT_FOUND = "there is nothing of that name here"


def application(project: Project, token: str, port: int, stop: Callable[[], bool] = lambda: False) -> Starlette:
    """The desk of one project folder. Arguments: project; token, at least 16 letters; port; stop, whether the server is ending."""
    desk = Desk(project)

    @contextlib.asynccontextmanager
    async def lifespan(app: Starlette) -> AsyncIterator[None]:
        await desk.start()
        try:
            yield
        finally:
            desk.close()

    routes = [
        Route("/", _index),
        Mount("/page", StaticFiles(directory=PAGE, check_dir=False)),
        Route("/api/events", desk_route(desk, _events)),
        Route("/api/state", desk_route(desk, _state)),
    ]
    for module in (
        routes_files,
        routes_settings,
        routes_ask,
        routes_background,
        routes_draw,
        routes_gather,
        routes_map,
        routes_run,
        routes_keep,
        routes_phone,
    ):
        routes += [Route(path, desk_route(desk, handler), methods=[method]) for method, path, handler in module.ROUTES]
    handlers: dict[Any, Any] = {HTTPException: _not_served, Exception: _failed}  # each takes its own kind of error
    app = Starlette(
        routes=routes,
        lifespan=lifespan,
        middleware=[Middleware(Gate, token=token, port=port, pictures=lambda: desk.backgrounds.origin)],
        exception_handlers=handlers,
    )
    app.state.desk = desk
    return app


def desk_route(
    desk: Desk, handler: Callable[[Desk, Request], Awaitable[Any]]
) -> Callable[[Request], Awaitable[Response]]:
    """A handler of (desk, request) as one of the request alone."""

    async def call(request: Request) -> Any:
        return await handler(desk, request)

    return answered(call)


async def _index(request: Request) -> Response:
    return FileResponse(PAGE / "index.html")


async def _state(desk: Desk, request: Request) -> Response:
    return JSONResponse((await desk.state()).model_dump(mode="json"))


async def _events(desk: Desk, request: Request) -> Response:
    return StreamingResponse(desk.events.stream({"version": desk.version}), media_type="text/event-stream")


async def _not_served(request: Request, problem: HTTPException) -> Response:
    words = {404: NOT_FOUND, 413: "the body is too large", 405: "that cannot be done here"}.get(
        problem.status_code, str(problem.detail)
    )
    return JSONResponse({"given": words, "expected": "", "fix": "", "words": words + "."}, problem.status_code)


async def _failed(request: Request, problem: Exception) -> Response:
    words = f"the desk met a fault of its own ({type(problem).__name__}); nothing that was drawn is lost"
    return JSONResponse({"given": words, "expected": "", "fix": "try again", "words": words + "."}, 500)
