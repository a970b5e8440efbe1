"""Beginning, files and what they are used as."""

from __future__ import annotations

from typing import Any

from starlette.requests import Request

from tunnelsite.desk.answers import Conflict, body_of
from tunnelsite.desk.host import Desk
from tunnelsite.desk.messages import Begin


async def _begin(desk: Desk, request: Request) -> Any:
    asked = await body_of(request, Begin)
    if desk.project.begun:
        raise Conflict(
            f"{desk.project.folder} holds a project already",
            "an empty folder",
            "go on with it, or choose another folder",
        )
    desk.project.begin(asked.what)
    desk.look_again()
    desk.changed()
    return await desk.state()


ROUTES = (("POST", "/api/begin", _begin),)
