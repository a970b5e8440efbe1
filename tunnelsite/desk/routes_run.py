"""Runs, their answers, and what lies between two of them."""

from __future__ import annotations

from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse

from tunnelsite.desk.answers import Missing
from tunnelsite.desk.compared import compared
from tunnelsite.desk.host import Desk
from tunnelsite.desk.measures import Units
from tunnelsite.desk.runs import kept_answer, run_entries, run_settings


async def _start(desk: Desk, request: Request) -> Any:
    return JSONResponse(desk.runner.start().model_dump(mode="json"), 202)


async def _cancel(desk: Desk, request: Request) -> Any:
    return {"cancelled": desk.runner.busy and desk.runner.cancel()}


async def _answer(desk: Desk, request: Request) -> Any:
    run = request.query_params.get("run")
    if run is not None and run != desk.current:
        return kept_answer(desk.project, run)
    found = desk.first_look or desk.answer
    if found is None:
        raise Missing("no places were looked for yet", "an answer", "find places first")
    return found


async def _runs(desk: Desk, request: Request) -> Any:
    return [entry.model_dump(mode="json") for entry in run_entries(desk.project)]


async def _open(desk: Desk, request: Request) -> Any:
    body = await request.json() if int(request.headers.get("content-length", "0") or 0) else {}
    desk.open_run(request.path_params["run"], settings=body.get("settings", True) is not False)
    return await desk.state()


async def _compare(desk: Desk, request: Request) -> Any:
    names = [request.query_params.get(side, "") for side in ("a", "b")]
    answers = [kept_answer(desk.project, name) for name in names]
    settings = [run_settings(desk.project, name) for name in names]
    return compared(answers, settings, Units(desk.project.units == "ft")) | {"a": answers[0], "b": answers[1]}


ROUTES = (
    ("POST", "/api/run", _start),
    ("DELETE", "/api/run", _cancel),
    ("GET", "/api/answer", _answer),
    ("GET", "/api/runs", _runs),
    ("GET", "/api/runs/compare", _compare),
    ("POST", "/api/runs/{run}/open", _open),
)
