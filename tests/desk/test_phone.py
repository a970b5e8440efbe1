"""The phone page: one page at one address, read-only, until it is stopped; on the loopback address here."""

from __future__ import annotations

import asyncio
from types import SimpleNamespace
from typing import Any

import httpx
import pytest

from tunnelsite.core.errors import UsageError
from tunnelsite.desk import phone
from tunnelsite.desk.answers import Missing
from tunnelsite.desk.messages import Pin
from tunnelsite.desk.phone import PhonePage, Phones, lan_address

PAGE = "<!doctype html><title>Stakes</title>"
PIN = Pin(
    letter="A",
    name="Bench",
    place={"lon": -81.0, "lat": 40.0, "bearing_deg": 90.0, "house": "20x48ft"},
    footprint={},
    ridge={},
)


async def listening(page: PhonePage) -> asyncio.Task:
    task = asyncio.ensure_future(page.serve())
    async with httpx.AsyncClient() as client:
        for _ in range(100):
            try:
                await client.get(page.address)
                return task
            except httpx.ConnectError:
                await asyncio.sleep(0.02)
    raise AssertionError("it does not listen")


def scene(what: Any) -> None:
    """Run what is done with a page that is being shown."""

    async def run() -> None:
        page = PhonePage(PAGE, "127.0.0.1")
        task = await listening(page)
        async with httpx.AsyncClient() as client:
            await what(page, client)
        page.stop()
        await asyncio.wait_for(task, 5)

    asyncio.run(run())


def test_only_its_own_address_shows_the_page() -> None:
    async def what(page: PhonePage, client: httpx.AsyncClient) -> None:
        base, _, token = page.address.rpartition("/")
        found = await client.get(page.address)
        assert (found.status_code, found.text) == (200, PAGE) and found.headers["cache-control"] == "no-store"
        for address in (
            base,
            f"{base}/",
            f"{base}/api/state",
            f"{base}/{token[:-1]}",
            f"{base}/{token}/x",
            f"{base}/..%2f{token}",
        ):
            assert (await client.get(address)).status_code == 404, address
        assert (await client.get(page.address, headers={"Host": "elsewhere.example"})).status_code == 404
        for method in ("POST", "PUT", "DELETE", "PATCH"):
            assert (await client.request(method, page.address)).status_code == 404

    scene(what)


def test_it_stops_when_closed_and_when_addresses_are_tried(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(phone, "MOST_WRONG", 6)

    async def closed(page: PhonePage, client: httpx.AsyncClient) -> None:
        page.stop()
        await asyncio.sleep(0.4)
        async with httpx.AsyncClient() as other:
            with pytest.raises(httpx.TransportError):
                await other.get(page.address)

    async def tried(page: PhonePage, client: httpx.AsyncClient) -> None:
        base = page.address.rpartition("/")[0]
        for number in range(phone.MOST_WRONG):
            await client.get(f"{base}/{number}")
        await asyncio.sleep(0.4)
        async with httpx.AsyncClient() as other:
            with pytest.raises(httpx.TransportError):
                await other.get(page.address)

    scene(closed)
    scene(tried)


def test_desk_shows_one_pin_at_a_time_and_says_where(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(phone, "lan_address", lambda: "127.0.0.1")

    async def run() -> None:
        async def ask(what: str, pin: dict) -> str:
            return f"{what} {pin['letter']}"

        desk = SimpleNamespace(pins=lambda: [PIN, PIN.model_copy(update={"letter": "B"})], ask=ask, soon=asyncio.ensure_future,
                               changed=lambda: None)  # fmt: skip
        phones = Phones(desk)
        with pytest.raises(Missing):
            await phones.show("C")
        await phones.show("A")
        first = phones.shown.address
        await phones.show("B")
        async with httpx.AsyncClient() as client:
            await asyncio.sleep(0.5)
            assert (await client.get(phones.shown.address)).text == "phone B" and phones.shown.letter == "B"
            with pytest.raises(httpx.TransportError):
                await client.get(first)
        phones.stop()
        assert phones.shown is None
        await asyncio.sleep(0.5)

    asyncio.run(run())


def test_machine_without_a_network_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    class Nowhere:
        def __enter__(self):
            return self

        def __exit__(self, *problem: object) -> None:
            """Nothing to close."""

        def connect(self, place: object) -> None:
            raise OSError("network is unreachable")

    monkeypatch.setattr(phone.socket, "socket", lambda *kind: Nowhere())
    with pytest.raises(UsageError, match="no local network"):
        lan_address()
