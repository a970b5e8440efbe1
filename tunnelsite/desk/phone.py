"""The stakes of one pinned place on a phone in the field: a second listener on the local network, only when asked, that shows one page."""

from __future__ import annotations

import asyncio
import contextlib
import hmac
import secrets
import socket
from collections.abc import Iterator
from typing import TYPE_CHECKING

import uvicorn
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, Response
from starlette.routing import Route

from tunnelsite.core.errors import UsageError
from tunnelsite.desk.answers import Missing
from tunnelsite.desk.code_to_scan import scan_code
from tunnelsite.desk.messages import PhoneShown

if TYPE_CHECKING:
    from tunnelsite.desk.host import Desk

LETTERS, LENGTH = (
    "abcdefghjkmnpqrstuvwxyz23456789",
    10,
)  # typed on a phone: nothing that looks like something else; 49 bits
MOST_WRONG = 40  # addresses without the token, then it stops
LONGEST_S = 3600.0
BEYOND = (
    "192.0.2.1",
    9,
)  # documentation addresses (RFC 5737); a UDP socket only looks up the way there and sends nothing
HEADERS = {
    "Cache-Control": "no-store",
    "Content-Security-Policy": "frame-ancestors 'none'",  # the page carries its own policy, with the digests of its script
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
}


def lan_address() -> str:
    """The address of this machine on its local network. Errors: UsageError where it is on none."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as way, contextlib.suppress(OSError):
        way.connect(BEYOND)
        found = str(way.getsockname()[0])
        if not found.startswith(("127.", "0.")):
            return found
    raise UsageError("this machine is on no local network", "the same network as the phone, such as a hotspot of the phone's",
                     "connect it, or save the phone page of the packet on the phone")  # fmt: skip


class _Server(uvicorn.Server):
    """Leaves Ctrl+C to the desk."""

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        yield


class PhonePage:
    """One page at one address, read-only, until it is stopped.

    Arguments: page, HTML; host, the address to listen on. Attributes: address, with the token, to be typed on the phone.
    """

    def __init__(self, page: str, host: str) -> None:
        self.page, self._token = page, "".join(secrets.choice(LETTERS) for _ in range(LENGTH))
        self._socket = socket.socket()
        self._socket.bind((host, 0))
        self._name = f"{host}:{self._socket.getsockname()[1]}"
        self.address = f"http://{self._name}/{self._token}"
        self._wrong = 0
        app = Starlette(
            routes=[Route("/{token}", self._show, methods=["GET"])],
            exception_handlers={404: self._refuse, 405: self._refuse},
        )
        self._server = _Server(uvicorn.Config(app, log_level="critical", access_log=False, server_header=False, ws="none",
                                              lifespan="off", timeout_graceful_shutdown=1))  # fmt: skip

    async def serve(self) -> None:
        """Listen until stopped, an hour at most."""
        with contextlib.closing(self._socket):
            timer = asyncio.get_running_loop().call_later(LONGEST_S, self.stop)
            try:
                await self._server.serve(sockets=[self._socket])
            finally:
                timer.cancel()

    def stop(self) -> None:
        """Listen no longer."""
        self._server.should_exit = True

    async def _show(self, request: Request) -> Response:
        given = request.path_params["token"]
        if request.headers.get("host", "") != self._name or not hmac.compare_digest(
            given.encode(), self._token.encode()
        ):
            return await self._refuse(request, None)
        return HTMLResponse(self.page, headers=HEADERS)

    async def _refuse(self, request: Request, problem: Exception | None) -> Response:
        self._wrong += 1
        if self._wrong >= MOST_WRONG:
            self.stop()
        return PlainTextResponse(
            "Nothing is shown at this address. Type the address that the desk shows.", 404, headers=HEADERS
        )


class Phones:
    """The phone page of a desk. Attributes: shown, what the sheet says of it, None where nothing is shown."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.shown: PhoneShown | None = None
        self._page: PhonePage | None = None

    async def show(self, letter: str) -> None:
        """Show the stakes of a pin, in place of what was shown. Errors: Missing for a letter without one; UsageError without a network."""
        pin = next((one for one in self.desk.pins() if one.letter == letter), None)
        if pin is None:
            raise Missing(f"nothing is pinned as {letter}", "a pinned place", "pin it first")
        host = lan_address()
        page = await self.desk.ask("phone", pin=pin.model_dump(mode="json"))
        self.stop()
        self._page = PhonePage(page, host)
        address = self._page.address
        self.shown = PhoneShown(letter=pin.letter, name=pin.name, address=address, code=scan_code(address))
        self.desk.soon(self._serve(self._page))

    async def _serve(self, page: PhonePage) -> None:
        await page.serve()
        if self._page is page:
            self._page = self.shown = None
            self.desk.changed()

    def stop(self) -> None:
        """Show nothing any more."""
        if self._page is not None:
            self._page.stop()
        self._page = self.shown = None
