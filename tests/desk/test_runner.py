"""A run that failed is told again after a reload, until the next run."""

from __future__ import annotations

import asyncio
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from tests.desk.fields import FARM
from tunnelsite.core.errors import InputRefused
from tunnelsite.desk.events import Events
from tunnelsite.desk.project import Project
from tunnelsite.desk.runner import Runner
from tunnelsite.desk.runs import OptionsFile


class Worker:
    """Answers the one question as it was told to. Arguments: answer, what comes of it, None where it never ends."""

    def __init__(self, answer: Exception | None) -> None:
        self.answer = answer

    async def ask(self, what: str, told: Any, **given: Any) -> Any:
        """Errors: the answer."""
        if self.answer is None:
            await asyncio.Event().wait()
        raise self.answer

    def kill(self) -> None:
        """End it."""


def desk_on(folder: Path, answer: Exception | None = None) -> SimpleNamespace:
    (folder / "farm.toml").write_text(FARM, "utf-8")
    project = Project(folder)
    return SimpleNamespace(project=project, kept=OptionsFile(project), events=Events(), fingerprint=project.fingerprint([]), changed=lambda: None,
                           soon=asyncio.ensure_future, take_spare=lambda: Worker(answer))  # fmt: skip


async def run_once(desk: SimpleNamespace) -> Runner:
    runner = Runner(desk)
    runner.recall()
    runner.start()
    await asyncio.sleep(0)
    await asyncio.sleep(0)
    return runner


def recalled(desk: SimpleNamespace) -> Runner:
    later = Runner(desk)
    later.recall()
    return later


def test_why_a_run_failed_is_told_after_a_reload(tmp_path: Path) -> None:
    async def scene() -> None:
        desk = desk_on(tmp_path, InputRefused("the ground is a photograph", "heights", "give heights"))
        runner = await run_once(desk)
        assert not runner.busy
        for told in (runner.status, recalled(desk).status):
            assert (
                told.state == "failed"
                and "the ground is a photograph" in told.words
                and told.problem.fix == "give heights"
            )

    asyncio.run(scene())


@pytest.mark.parametrize("ending", ["cancel", "forget"])
def test_it_is_forgotten_with_the_run_and_its_settings(tmp_path: Path, ending: str) -> None:
    async def scene() -> None:
        desk = desk_on(tmp_path)
        runner = await run_once(desk)
        assert runner.status.state == "waiting"
        getattr(runner, ending)()
        runner.cancel()
        assert runner.status is None and recalled(desk).status is None

    asyncio.run(scene())


def test_run_that_the_desk_cut_off_is_told_as_failed(tmp_path: Path) -> None:
    async def scene() -> None:
        desk = desk_on(tmp_path)
        await run_once(desk)
        told = recalled(desk).status
        assert told.state == "failed" and "ended in the middle" in told.words

    asyncio.run(scene())


def test_what_is_changed_while_a_run_goes_on_is_not_in_its_answer(tmp_path: Path) -> None:
    """The answer was marked with the project as it was when the run ended."""

    async def told() -> tuple[str, str]:
        desk = desk_on(tmp_path)
        runner = Runner(desk)
        runner.start()
        begun = desk.fingerprint
        desk.project.change({"setback": "31ft"})
        desk.fingerprint = desk.project.fingerprint([])
        assert desk.fingerprint != begun
        found = runner.begun_with, begun
        runner.cancel()
        return found

    begun_with, begun = asyncio.run(told())
    assert begun_with == begun
