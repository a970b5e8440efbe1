"""A server in a process of its own, and a plain HTTP client (standard library) that speaks to it."""

from __future__ import annotations

import base64
import contextlib
import json
import os
import re
import signal
import subprocess
import sys
import tempfile
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[3]


@dataclass(frozen=True)
class Said:
    """An HTTP answer."""

    status: int
    headers: Any
    body: bytes

    @property
    def json(self) -> Any:
        """The body as JSON."""
        return json.loads(self.body)


@dataclass(frozen=True)
class Client:
    """Speaks to one server, as one client where it has a token."""

    url: str
    pid: int
    log: list[str]
    token: str = ""

    def ask(self, path: str, body: Any = None, method: str | None = None, **headers: str) -> Said:
        """One request; underscores in header names stand for hyphens."""
        data = body if isinstance(body, bytes | None) else json.dumps(body).encode()
        heads = {"Content-Type": "application/json"} if data is not None else {}
        heads |= {name.replace("_", "-"): value for name, value in headers.items()}
        if self.token:
            heads["Authorization"] = f"Bearer {self.token}"
        asked = urllib.request.Request(self.url + path, data, heads, method=method)
        try:
            with urllib.request.urlopen(asked, timeout=120) as answer:
                return Said(answer.status, answer.headers, answer.read())
        except urllib.error.HTTPError as problem:
            return Said(problem.code, problem.headers, problem.read())

    def execute(self, process: str, inputs: Any, asynchronous: bool = False, **members: Any) -> Said:
        """An execute request."""
        headers = {"Prefer": "respond-async"} if asynchronous else {}
        return self.ask(f"/processes/{process}/execution", {"inputs": inputs, **members}, **headers)

    def finished(self, job_id: str, seconds: float = 120) -> dict[str, Any]:
        """The status of a job once it has ended; its progress never falls."""
        least, end = 0, time.monotonic() + seconds
        while time.monotonic() < end:
            status = self.ask(f"/jobs/{job_id}").json
            assert status["progress"] >= least
            least = status["progress"]
            if status["status"] in ("successful", "failed", "dismissed"):
                return status
            time.sleep(0.1)
        raise AssertionError(f"job still {status['status']}: {status['message']}")

    def child_pid(self, seconds: float = 20) -> int:
        """The number of a running job's process."""
        import psutil

        end = time.monotonic() + seconds
        while time.monotonic() < end:
            children = psutil.Process(self.pid).children()
            if children:
                return children[0].pid
            time.sleep(0.02)
        raise AssertionError("no job is running")


@contextlib.contextmanager
def served(*words: str) -> Iterator[Client]:
    """A server on a free port of this machine, stopped at the end."""
    command = [sys.executable, "-m", "tunnelsite", "serve", "--port", "0", *words]
    folder = tempfile.TemporaryDirectory(ignore_cleanup_errors=True)  # what a killed server leaves goes with it
    known = os.pathsep.join(filter(None, [str(ROOT), os.environ.get("PYTHONPATH", "")]))
    environment = os.environ | {"PYTHONPATH": known, "PYTHONUNBUFFERED": "1", "TMPDIR": folder.name}
    process = subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, stdin=subprocess.DEVNULL, text=True, env=environment
    )
    log: list[str] = []
    listener = threading.Thread(target=lambda: log.extend(iter(process.stderr.readline, "")), daemon=True)
    listener.start()
    try:
        first = process.stdout.readline()
        found = re.search(r"http://\S+?(?=/ )", first)
        assert found, f"{first} {log}"
        yield Client(found[0], process.pid, log)
    finally:
        killed = process.poll() == -signal.SIGKILL  # a test's own doing
        process.send_signal(signal.SIGTERM)
        try:
            code = process.wait(15)
        except subprocess.TimeoutExpired:
            process.kill()
            raise
        finally:
            listener.join(5)
            process.stdout.close()
            process.stderr.close()
            left = list(Path(folder.name).iterdir())
            folder.cleanup()
    assert killed or (code == 0 and not left), (log, left)  # a server that is stopped leaves nothing


def tiff(path: Path) -> dict[str, str]:
    """A raster file as an inline input."""
    content = base64.b64encode(path.read_bytes()).decode()
    return {"value": content, "mediaType": "image/tiff; application=geotiff", "encoding": "base64"}


def features(path: Path) -> dict[str, Any]:
    """A GeoJSON file as an inline input."""
    return {"value": json.loads(path.read_text("utf-8")), "mediaType": "application/geo+json"}
