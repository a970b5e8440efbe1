"""A Chromium browser without a window, driven by playwright, for pages that must not ask the network for anything."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

import pytest

from tunnelsite.io.write.print_page import BROWSERS

FLAGS = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
)  # fmt: skip


@dataclass
class Opened:
    """An open page: what the browser asked for and what it complained of since it was opened."""

    page: Any
    requests: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)


@contextmanager
def browser() -> Iterator[Any]:
    """A browser with a fresh profile; the test is skipped, with the reason, where there is none."""
    driver = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    program = next((path for name in BROWSERS if (path := shutil.which(name))), None)
    if program is None:
        pytest.skip("no browser of the Chromium family is on the path")
    with driver.sync_playwright() as running:
        started = running.chromium.launch(executable_path=program, args=list(FLAGS))
        try:
            yield started
        finally:
            started.close()


def opened(started, address: str, **context) -> Opened:
    """A page opened with the network off, its requests, errors and broken policies written down."""
    page = started.new_context(offline=True, **context).new_page()
    found = Opened(page)
    page.on("request", lambda request: found.requests.append(request.url))
    page.on("console", lambda message: found.complaints.append(f"{message.type}: {message.text}"))
    page.on("pageerror", lambda error: found.complaints.append(str(error)))
    page.goto(address)
    return found
