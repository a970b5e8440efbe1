"""Who may speak to the desk: this machine, under its own name, with the token; and what a page from here may do."""

from __future__ import annotations

import hmac
from collections.abc import Callable
from urllib.parse import parse_qs

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import JSONResponse, RedirectResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

SAFE = ("GET", "HEAD")
OWN_HEADER = "x-desk"  # a form of a foreign page cannot send it
POLICY = {
    "default-src": "'none'",
    "script-src": "'self'",
    "style-src": "'self' 'unsafe-inline'",
    "img-src": "'self' data: blob:",
    "connect-src": "'self'",
    "font-src": "'self'",
    "worker-src": "'self' blob:",
    "frame-src": "'self'",
    "form-action": "'self'",
    "base-uri": "'none'",
    "frame-ancestors": "'none'",
}
# a page that the desk wrote into the folder: it may be shown inside the desk, run nothing and fetch nothing
PAPER_POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src 'self' data:; font-src data:; frame-ancestors 'self'; "
    "sandbox allow-same-origin allow-popups allow-popups-to-escape-sandbox allow-modals allow-downloads"
)
HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cache-Control": "no-store",
}


def refusal(status: int, given: str, expected: str, fix: str) -> JSONResponse:
    """A problem in words."""
    words = f"{given}. Expected: {expected}. Fix: {fix}."
    return JSONResponse({"given": given, "expected": expected, "fix": fix, "words": words}, status)


class Gate:
    """ASGI middleware in front of everything: Host, token or cookie, Origin, and headers on every answer.

    Arguments: app; token, what the address holds that is opened in the browser; port, where the server listens; pictures, tells the
    one origin besides this that the page may fetch pictures from, `` where none was turned on.
    """

    def __init__(self, app: ASGIApp, token: str, port: int, pictures: Callable[[], str] = str) -> None:
        self.app, self.token, self.port, self.pictures = app, token, port, pictures
        self.names = (f"127.0.0.1:{port}", f"localhost:{port}")
        self.cookie = f"desk-{port}"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through or refuse it."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
        elif scope["type"] == "http":
            answer = self._refused(scope) or self.app
            await answer(scope, receive, self._marked(scope, send))
        else:
            await send({"type": "websocket.close", "code": 1008})

    def _refused(self, scope: Scope) -> JSONResponse | RedirectResponse | None:
        headers = Headers(scope=scope)
        if headers.get("host", "").lower() not in self.names:
            return refusal(403, f"the request is for {headers.get('host', '')[:80]!r}", " or ".join(self.names),
                           "open the address that the desk printed")  # fmt: skip
        if headers.get("sec-fetch-site", "none") not in ("none", "same-origin") and not _opens_a_page(scope, headers):
            return refusal(403, "another page asked", "the desk's own page", "use the desk's own page")
        given = parse_qs(scope["query_string"].decode("latin-1")).get("token", [""])[0]
        if scope["path"] == "/" and scope["method"] == "GET" and given:
            if not self._is_token(given):
                return _no_token()
            answer = RedirectResponse("/", 303)
            answer.set_cookie(self.cookie, self.token, httponly=True, samesite="strict", path="/")
            return answer
        if not self._is_token(_cookie(headers, self.cookie)):
            return _no_token()
        return None if scope["method"] in SAFE else self._foreign(headers)

    def _foreign(self, headers: Headers) -> JSONResponse | None:
        origin = headers.get("origin")
        if origin is not None and origin.lower() not in [f"http://{name}" for name in self.names]:
            return refusal(403, f"a page from {origin[:80]!r} asked", "the desk's own page", "use the desk's own page")
        if OWN_HEADER not in headers:
            return refusal(403, "the header X-Desk is missing", "X-Desk: 1", "send it")
        return None

    def _is_token(self, given: str) -> bool:
        return hmac.compare_digest(given.encode(), self.token.encode())

    def _marked(self, scope: Scope, send: Send) -> Send:
        paper = scope["path"].startswith("/files/")
        own = POLICY | {"img-src": f"{POLICY['img-src']} {self.pictures()}".rstrip()}
        policy = PAPER_POLICY if paper else "; ".join(f"{name} {value}" for name, value in own.items())

        async def marked(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
                headers["Content-Security-Policy"] = policy
                headers["X-Frame-Options"] = "SAMEORIGIN" if paper else "DENY"
            await send(message)

        return marked


def _opens_a_page(scope: Scope, headers: Headers) -> bool:
    """Whether a link elsewhere (a mail, a terminal in the browser) opens the desk; the cookie is strict, so that no more comes of it."""
    return scope["method"] == "GET" and scope["path"] == "/" and headers.get("sec-fetch-mode") == "navigate"


def _cookie(headers: Headers, name: str) -> str:
    for part in headers.get("cookie", "").split(";"):
        key, _, value = part.strip().partition("=")
        if key == name:
            return value
    return ""


def _no_token() -> JSONResponse:
    return refusal(401, "the address holds no valid token", "the address that the desk printed when it started",
                   "open that address; a desk that was started again has a new one")  # fmt: skip
