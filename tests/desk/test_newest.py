"""The newest question wins."""

from __future__ import annotations

import asyncio

from tunnelsite.desk.newest import Newest


def test_first_and_newest_are_answered_and_those_between_are_let_go() -> None:
    async def run() -> tuple[list, list[int]]:
        newest, asked = Newest(), []

        async def question(number: int) -> int:
            asked.append(number)
            await asyncio.sleep(0.01)
            return number

        tasks = []
        for number in range(6):
            tasks.append(asyncio.ensure_future(newest.ask(lambda number=number: question(number))))
            await asyncio.sleep(0)
        return await asyncio.gather(*tasks), asked

    answers, asked = asyncio.run(run())
    assert answers == [0, None, None, None, None, 5] and asked == [0, 5]


def test_question_that_fails_holds_up_no_other() -> None:
    async def run() -> int | None:
        newest = Newest()

        async def wrong() -> int:
            raise ValueError

        async def right() -> int:
            return 7

        try:
            await newest.ask(wrong)
        except ValueError:
            return await newest.ask(right)
        return None

    assert asyncio.run(run()) == 7
