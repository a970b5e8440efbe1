"""The house in the hand, its sun chart, and a tap on the map."""

from __future__ import annotations

from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from tunnelsite.desk.answers import Conflict, body_of, number_of
from tunnelsite.desk.hand_messages import GROUND_ONLY, NOT_SEARCHED, Hand, Tap
from tunnelsite.desk.host import Desk
from tunnelsite.desk.no_score import tap_words, what_to_do


async def _hand(desk: Desk, request: Request) -> Any:
    asked = await body_of(request, Hand)
    place = asked.model_dump(exclude={"seq"})
    found = await desk.in_hand.ask(lambda: desk.ask("hand", **place))
    if found is None:
        return {"dropped": True, "seq": asked.seq}
    if found["measured"] == GROUND_ONLY:
        found["score"] = found["score"] | {"words": f"no score yet: {what_to_do(desk)}"}
    return found | {"seq": asked.seq}


async def _sun(desk: Desk, request: Request) -> Response:
    place = {name: number_of(request, name) for name in ("lon", "lat", "bearing_deg")}
    house = request.query_params.get("house", "")[:60]
    months = request.query_params.get("months", "")[:40] or None
    found = await desk.charts.ask(lambda: desk.ask("sun_chart", **place, house=house, months=months))
    if found is None:
        raise Conflict("a newer chart was asked for", "one chart at a time", "take the newer one")
    return Response(found, media_type="image/svg+xml")


async def _tap(desk: Desk, request: Request) -> Any:
    asked = await body_of(request, Tap)
    found = await desk.ask("tap", **asked.model_dump())
    return found | {"words": [tap_words(desk)]} if found["state"] == NOT_SEARCHED else found


ROUTES = (
    ("POST", "/api/hand", _hand),
    ("GET", "/api/hand/sun.svg", _sun),
    ("POST", "/api/tap", _tap),
)
