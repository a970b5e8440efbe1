"""Beginning, files and what they are used as, and the answers to questions."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from typing import Any

from starlette.requests import Request

from tunnelsite.core.errors import UsageError
from tunnelsite.desk.answers import Conflict, Missing, body_of
from tunnelsite.desk.files import file_entries
from tunnelsite.desk.gather_files import SOURCES
from tunnelsite.desk.host import Desk
from tunnelsite.desk.messages import Answered, Begin, FileUse
from tunnelsite.desk.project import DRAWN, FARM, OPTIONS, Project
from tunnelsite.desk.proposal import propose
from tunnelsite.desk.roles import ROLES, change_for, used_as
from tunnelsite.desk.sheet import QUESTIONS
from tunnelsite.desk.uploads import Upload


async def _begin(desk: Desk, request: Request) -> Any:
    asked = await body_of(request, Begin)
    if desk.project.begun:
        raise Conflict(
            f"{desk.project.folder} holds a project already",
            "an empty folder",
            "go on with it, or choose another folder",
        )
    await asyncio.to_thread(desk.project.begin, asked.what)
    if asked.what == "empty":
        await asyncio.to_thread(_put_to_use, desk.project)
    desk.look_again()
    desk.changed()
    return await desk.state()


async def _files(desk: Desk, request: Request) -> Any:
    return [entry.model_dump(mode="json") for entry in file_entries(desk.project, desk.project.raw())]


async def _roles(desk: Desk, request: Request) -> Any:
    return [role.model_dump(mode="json") for role in ROLES]


async def _upload(desk: Desk, request: Request) -> Any:
    upload = Upload(desk.project, request.headers.get("content-type", ""))
    async with desk.writing:
        await upload.take(request.stream())
        if not desk.project.begun and upload.names:
            desk.project.begin("empty")
        if _put_to_use(desk.project, upload.names):
            desk.look_again()
    desk.changed()
    entries = file_entries(desk.project, desk.project.raw())
    files = [entry.model_dump(mode="json") for entry in entries if entry.name in upload.names]
    refused = [{"name": name, "words": words} for name, words in upload.refused]
    return {"files": files, "refused": refused, "sources": SOURCES in upload.names}


def _put_to_use(project: Project, names: Sequence[str] | None = None) -> bool:
    """Use files as what they are taken to be, where nothing else is used as that; it can be corrected in the list.

    Arguments: project; names of the files, None for all that lie in the folder. Return: whether any was.
    """
    raw = project.raw()
    new = [one for one in propose(project.folder, raw, names).files if one.role and used_as(raw, one.name)[0] is None]
    for one in new:
        project.change(change_for(project.raw(), one.name, one.role, None))
    return bool(new)


async def _use(desk: Desk, request: Request) -> Any:
    name, asked = request.path_params["name"], await body_of(request, FileUse)
    if not desk.project.inside(name).is_file():
        raise Missing(f"there is no file {name[:80]!r}", "a file of the list", "choose one of them")
    async with desk.writing:
        desk.project.change(change_for(desk.project.raw(), name, asked.use_as, asked.distance))
    return await _changed(desk)


async def _forget(desk: Desk, request: Request) -> Any:
    name = request.path_params["name"]
    path = desk.project.inside(name)
    async with desk.writing:
        raw = desk.project.raw()
        if used_as(raw, name)[0] is not None:
            desk.project.change(change_for(raw, name, None, None))
        if request.query_params.get("delete") == "1" and path.parent == desk.project.folder and path.is_file():
            if name in (FARM, DRAWN, OPTIONS):
                raise UsageError(f"{name} belongs to the project", "a file of data", "choose another")
            path.unlink()
    return await _changed(desk)


async def _answer(desk: Desk, request: Request) -> Any:
    name, asked = request.path_params["question"], await body_of(request, Answered)
    if name not in QUESTIONS:
        raise Missing(f"there is no question {name[:40]!r}", ", ".join(QUESTIONS), "answer one of them")
    desk.project.change({name: asked.value})
    return await _changed(desk)


async def _changed(desk: Desk) -> Any:
    desk.look_again()
    desk.changed()
    return await desk.state()


ROUTES = (
    ("POST", "/api/begin", _begin),
    ("GET", "/api/files", _files),
    ("POST", "/api/files", _upload),
    ("PATCH", "/api/files/{name}", _use),
    ("DELETE", "/api/files/{name}", _forget),
    ("GET", "/api/roles", _roles),
    ("POST", "/api/answers/{question}", _answer),
)
