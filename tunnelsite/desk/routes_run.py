"""Runs, their answers, and what lies between two of them."""

from __future__ import annotations

import tomllib
from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse

from tunnelsite.desk.answers import Missing, body_of, json_of
from tunnelsite.desk.compared import compared
from tunnelsite.desk.held import held
from tunnelsite.desk.host import Desk
from tunnelsite.desk.measures import Units
from tunnelsite.desk.messages import SettingChange
from tunnelsite.desk.project_text import changed
from tunnelsite.desk.runs import kept_answer, run_entries, run_settings
from tunnelsite.settings.paths import anchored


async def _start(desk: Desk, request: Request) -> Any:
    return JSONResponse(desk.runner.start().model_dump(mode="json"), 202)


async def _cancel(desk: Desk, request: Request) -> Any:
    return {"cancelled": desk.runner.busy and desk.runner.cancel()}


async def _answer(desk: Desk, request: Request) -> Any:
    run = request.query_params.get("run")
    if run is not None and run != desk.current:
        return kept_answer(desk.project, run)
    found = desk.first_look or desk.what_if or desk.answer
    if found is None:
        raise Missing("no places were looked for yet", "an answer", "find places first")
    return found


async def _runs(desk: Desk, request: Request) -> Any:
    return [entry.model_dump(mode="json") for entry in run_entries(desk.project)]


async def _open(desk: Desk, request: Request) -> Any:
    body = await json_of(request)
    desk.open_run(request.path_params["run"], settings=body.get("settings", True) is not False)
    return await desk.state()


async def _compare(desk: Desk, request: Request) -> Any:
    names = [request.query_params.get(side, "") for side in ("a", "b")]
    answers = [kept_answer(desk.project, name) for name in names]
    settings = [run_settings(desk.project, name) for name in names]
    return compared(answers, settings, Units(desk.project.units == "ft")) | {"a": answers[0], "b": answers[1]}


async def _what_if(desk: Desk, request: Request) -> Any:
    asked = await body_of(request, SettingChange)
    text = changed(desk.project.text(), desk.project.farm, asked.set, asked.clear)
    values = anchored(tomllib.loads(text), desk.project.folder)
    found = await desk.ask("whatif", folder=str(desk.project.folder), values=values)
    if found["answer"] is None:
        return found | {"compared": None}
    settings = [desk.project.raw(), tomllib.loads(text)]
    told = compared([held(desk.answer), found["answer"]], settings, Units(desk.project.units == "ft"))
    desk.what_if, desk.what_if_change = found["answer"], asked
    desk.events.publish("answer", {"run": "what-if", "first_look": False})
    return found | {"compared": told}


async def _keep(desk: Desk, request: Request) -> Any:
    if desk.what_if_change is None:
        raise Missing("there is no what-if", "a changed answer", "change something first")
    asked, desk.what_if_change = desk.what_if_change, None
    desk.project.change(asked.set, asked.clear)
    desk.runner.start()
    desk.changed()
    return await desk.state()


async def _forget(desk: Desk, request: Request) -> Any:
    desk.what_if = desk.what_if_change = None
    if await desk.ask("forget"):
        desk.events.publish("answer", {"run": desk.current, "first_look": False})
    desk.changed()
    return await desk.state()


ROUTES = (
    ("POST", "/api/run", _start),
    ("DELETE", "/api/run", _cancel),
    ("GET", "/api/answer", _answer),
    ("POST", "/api/whatif", _what_if),
    ("POST", "/api/whatif/keep", _keep),
    ("DELETE", "/api/whatif", _forget),
    ("GET", "/api/runs", _runs),
    ("GET", "/api/runs/compare", _compare),
    ("POST", "/api/runs/{run}/open", _open),
)
