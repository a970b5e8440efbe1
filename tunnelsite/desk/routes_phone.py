"""The stakes of a pinned place on a phone: shown when asked, until closed."""

from __future__ import annotations

from typing import Any

from starlette.requests import Request

from tunnelsite.desk.answers import body_of
from tunnelsite.desk.hand_messages import PhoneAsked
from tunnelsite.desk.host import Desk


async def _show(desk: Desk, request: Request) -> Any:
    asked = await body_of(request, PhoneAsked)
    await desk.phones.show(asked.letter)
    desk.changed()
    return await desk.state()


async def _stop(desk: Desk, request: Request) -> Any:
    desk.phones.stop()
    desk.changed()
    return await desk.state()


ROUTES = (
    ("POST", "/api/phone", _show),
    ("DELETE", "/api/phone", _stop),
)
