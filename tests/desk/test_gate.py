"""Who gets in: the token, the cookie, the Host, the Origin, and what a page may do."""

from __future__ import annotations

import pytest
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse
from starlette.routing import Route
from starlette.testclient import TestClient

from tunnelsite.desk.gate import Gate

TOKEN, PORT = "a-token-of-a-test-only", 8123
BASE = f"http://127.0.0.1:{PORT}"


async def _hello(request: Request) -> PlainTextResponse:
    return PlainTextResponse("hello")


def gated(base: str = BASE) -> TestClient:
    routes = [Route("/", _hello), Route("/api/x", _hello, methods=["GET", "POST"]), Route("/files/{path:path}", _hello)]
    return TestClient(Gate(Starlette(routes=routes), TOKEN, PORT), base_url=base, follow_redirects=False)


def inside() -> TestClient:
    client = gated()
    assert client.get(f"/?token={TOKEN}").status_code == 303
    return client


def test_token_is_exchanged_for_a_strict_cookie_and_leaves_the_address() -> None:
    answer = gated().get(f"/?token={TOKEN}")
    assert answer.status_code == 303 and answer.headers["location"] == "/"
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie and "samesite=strict" in cookie and f"desk-{PORT}=" in cookie


@pytest.mark.parametrize(
    "path", ["/", "/api/x", "/files/packet/a.html", "/?token=", "/?token=wrong", f"/api/x?token={TOKEN}"]
)
def test_without_the_token_nothing_is_served(path: str) -> None:
    answer = gated().get(path)
    assert answer.status_code == 401 and "hello" not in answer.text and answer.json()["words"]


def test_cookie_of_another_desk_is_no_way_in() -> None:
    client = gated()
    client.cookies.set(f"desk-{PORT}", "x" * len(TOKEN))
    assert client.get("/api/x").status_code == 401


@pytest.mark.parametrize(
    "host", ["evil.example:8123", "127.0.0.1", "127.0.0.1:9999", "localhost.evil.example:8123", ""]
)
def test_another_host_name_is_refused_even_with_the_cookie(host: str) -> None:
    client = inside()
    assert client.get("/api/x", headers={"host": host}).status_code == 403
    assert client.get("/api/x", headers={"host": f"localhost:{PORT}"}).status_code == 200


def test_changes_need_the_own_header_and_no_foreign_origin() -> None:
    client = inside()
    assert client.post("/api/x").status_code == 403
    assert client.post("/api/x", headers={"X-Desk": "1"}).status_code == 200
    for origin in ("http://evil.example", "null", "http://127.0.0.1:9999", f"https://127.0.0.1:{PORT}"):
        assert client.post("/api/x", headers={"X-Desk": "1", "Origin": origin}).status_code == 403
    assert client.post("/api/x", headers={"X-Desk": "1", "Origin": BASE}).status_code == 200


def test_other_sites_can_read_nothing() -> None:
    assert inside().get("/api/x", headers={"Sec-Fetch-Site": "cross-site"}).status_code == 403
    assert inside().get("/api/x", headers={"Sec-Fetch-Site": "same-origin"}).status_code == 200


def test_policy_allows_no_inline_script_and_no_other_address() -> None:
    headers = inside().get("/api/x").headers
    parts = dict(part.strip().split(" ", 1) for part in headers["content-security-policy"].split(";"))
    assert parts["script-src"] == "'self'" and parts["default-src"] == "'none'" and parts["connect-src"] == "'self'"
    assert parts["frame-ancestors"] == "'none'" and headers["x-content-type-options"] == "nosniff"


def test_pages_from_the_folder_may_run_nothing() -> None:
    policy = inside().get("/files/packet/report.html").headers["content-security-policy"]
    assert (
        "sandbox" in policy
        and "allow-scripts" not in policy
        and "script-src" not in policy
        and "default-src 'none'" in policy
    )
