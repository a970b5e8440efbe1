"""From a request to its typed body and from what a handler gives back, or raises, to JSON."""

from __future__ import annotations

import json
from collections.abc import Awaitable, Callable
from functools import wraps
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response

from tunnelsite.core.errors import InputRefused, OutputFailed, ResourceShortage, TunnelsiteError, UsageError
from tunnelsite.desk.held import StillReading
from tunnelsite.desk.messages import Problem
from tunnelsite.desk.page_words import message_of, on_the_page
from tunnelsite.desk.worker import WorkerEnded

MOST_BODY_BYTES = 16 << 20  # a drawing of a hundred thousand points
ASKED = {
    "--far-elevation-unit": "far_elevation_unit",
    "--elevation-unit": "elevation_unit",
}  # an option that answers: its question
STATUS = {
    WorkerEnded: 503,
    StillReading: 409,
    UsageError: 422,
    InputRefused: 422,
    ResourceShortage: 507,
    OutputFailed: 507,
}
Body = TypeVar("Body", bound=BaseModel)


class Conflict(UsageError):
    """It cannot be done now: something else goes on, or was there before."""


class Missing(UsageError):
    """There is nothing of that name."""


def problem_of(problem: TunnelsiteError) -> Problem:
    """An error as it goes to the page."""
    given, expected, fix = (on_the_page(part) for part in (problem.given, problem.expected, problem.fix))
    asks = next((name for option, name in ASKED.items() if option in problem.fix), "")
    return Problem(given=given, expected=expected, fix=fix, words=message_of(problem), asks=asks)


def answered(handler: Callable[[Request], Awaitable[Any]]) -> Callable[[Request], Awaitable[Response]]:
    """A handler that may give back a message, a dict or a response, and may raise an error in words."""

    @wraps(handler)
    async def answer(request: Request) -> Response:
        try:
            return _response(await handler(request))
        except TunnelsiteError as problem:
            own = 409 if isinstance(problem, Conflict) else 404 if isinstance(problem, Missing) else 0
            status = own or next((code for kind, code in STATUS.items() if isinstance(problem, kind)), 400)
            return JSONResponse(problem_of(problem).model_dump(), status)
        except ClientDisconnect:
            return Response(status_code=400)

    return answer


def _response(found: Any, status: int = 200) -> Response:
    if isinstance(found, Response):
        return found
    return JSONResponse(found.model_dump(mode="json") if isinstance(found, BaseModel) else found, status)


async def body_of(request: Request, kind: type[Body]) -> Body:
    """The request's JSON as a message. Errors: UsageError for another body; 413 for one too large."""
    try:
        return kind.model_validate_json(await _read(request) or b"{}")
    except ValidationError as problem:
        first = problem.errors()[0]
        where = ".".join(map(str, first["loc"])) or "the body"
        raise UsageError(f"{where} is {str(first.get('input'))[:80]!r}", first["msg"], "correct it") from None


async def json_of(request: Request) -> dict[str, Any]:
    """The request's JSON object. Errors: UsageError for another body; 413 for one too large."""
    try:
        found = json.loads(await _read(request) or b"{}")
    except (ValueError, RecursionError):
        found = None
    if not isinstance(found, dict):
        raise UsageError("the body is no JSON object", "a JSON object", "load the page again")
    return found


async def _read(request: Request) -> bytes:
    parts, size = [], 0
    async for part in request.stream():
        size += len(part)
        if size > MOST_BODY_BYTES:
            raise HTTPException(413)
        parts.append(part)
    return b"".join(parts)


def number_of(request: Request, name: str) -> float:
    """A number of the address. Errors: UsageError."""
    try:
        value = float(request.query_params[name])
    except (KeyError, ValueError):
        value = float("nan")
    if not abs(value) <= 1e6:
        raise UsageError(f"{name} is {request.query_params.get(name, '')[:40]!r}", "a number", "correct it")
    return value
