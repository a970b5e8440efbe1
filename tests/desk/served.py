"""A desk served by a process of its own on a folder, and a page of it in a real browser."""

from __future__ import annotations

import math
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

TOKEN = "a-token-for-tests-alone"
AXE = Path(__file__).parent / "vendor" / "axe.min.js"
WAIT_MS = 120_000  # the first screening may have to compile the kernels


@dataclass
class Served:
    """A running desk: its folder, its process and the address with the token."""

    folder: Path
    port: int = 0
    process: subprocess.Popen | None = None

    @property
    def address(self) -> str:
        """Where a browser gets in."""
        return f"http://127.0.0.1:{self.port}/?token={TOKEN}"

    def start(self) -> None:
        """Start the server, on the port that it had before where it was started once."""
        command = [
            sys.executable,
            "-m",
            "tunnelsite",
            "desk",
            str(self.folder),
            "--no-browser",
            "--port",
            str(self.port),
        ]
        self.process = subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, start_new_session=True,
            env=os.environ | {"TUNNELSITE_DESK_TOKEN": TOKEN},
        )  # fmt: skip
        line = self.process.stdout.readline()
        assert line.startswith("http://127.0.0.1:"), line
        self.port = int(line.split(":")[2].split("/")[0])

    def kill(self) -> None:
        """End it and what it started as a power cut would."""
        if self.process is not None:
            os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait()
            self.process = None


@dataclass
class Shown:
    """A page of the desk with what it asked for and what it complained of."""

    page: Any
    requests: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)

    def asked(self, path: str) -> Any:
        """What the server says to the page at a path."""
        return self.page.evaluate("path => fetch(path).then(said => said.json())", path)

    def at(self, lon: float, lat: float) -> tuple[float, float]:
        """The pixel of a place, from where the shaded ground lies on the screen (Web Mercator: spherical, EPSG:3857)."""
        bounds = next(layer for layer in self.asked("/api/layers")["layers"] if layer["id"] == "hillshade")["bounds"]
        box = self.page.locator(".leaflet-ground-pane img").bounding_box()
        top, bottom, here = (_northing(value) for value in (bounds["north"], bounds["south"], lat))
        right = (lon - bounds["west"]) / (bounds["east"] - bounds["west"])
        return box["x"] + right * box["width"], box["y"] + (top - here) / (top - bottom) * box["height"]

    def until(self, holds: Callable[[], bool], within_s: float = 30.0) -> None:
        """Wait until something holds; asked from here, since the page's policy lets no words be run as a program."""
        end = time.monotonic() + within_s
        while not holds():
            assert time.monotonic() < end, "it did not come about"
            self.page.wait_for_timeout(50)

    def violations(self) -> list[str]:
        """What axe-core calls serious or critical."""
        self.page.evaluate(AXE.read_text("utf-8"))
        found = self.page.evaluate("axe.run(document, {resultTypes: ['violations']})")["violations"]
        grave = [one for one in found if one["impact"] in ("serious", "critical")]
        return [f"{one['id']}: {node['html'][:200]}" for one in grave for node in one["nodes"]]


def _northing(lat: float) -> float:
    return math.log(math.tan(math.pi / 4 + math.radians(lat) / 2))


def shown(browser: Any, address: str, **context: Any) -> Shown:
    """The desk in a new window of the browser."""
    page = browser.new_context(**context).new_page()
    page.set_default_timeout(30_000)
    found = Shown(page)
    page.on("request", lambda request: found.requests.append(request.url))
    page.on("pageerror", lambda error: found.complaints.append(str(error)))
    page.on(
        "console", lambda said: found.complaints.append(said.text) if "Content Security Policy" in said.text else None
    )
    page.goto(address)
    return found
