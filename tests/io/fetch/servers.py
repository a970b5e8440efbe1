"""File servers on the loopback address, as good or as bad as a test wants them."""

from __future__ import annotations

import contextlib
import http.server
import json
import re
import socket
import threading
import time
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any


@dataclass
class Site:
    """What a server holds and how it behaves.

    Attributes: files, content by path; redirects, path to address; ranges, whether parts are given; broken_after, bytes of an
    answer's body after which the connection breaks, for the next `breaks` answers; slow_s, before each answer; changing: every
    answer carries another tag. asked: paths in order; parts, each with the range that was asked for.
    """

    files: dict[str, bytes] = field(default_factory=dict)
    redirects: dict[str, str] = field(default_factory=dict)
    ranges: bool = True
    broken_after: int = 0
    breaks: int = 0
    busy: int = 0
    slow_s: float = 0.0
    changing: bool = False
    wrong_part: bool = False
    asked: list[str] = field(default_factory=list)
    parts: list[tuple[str, str]] = field(default_factory=list)
    address: str = ""

    def put(self, path: str, document: Any) -> str:
        """Hold a JSON document. Return: its address."""
        self.files[path] = json.dumps(document).encode()
        return self.address + path


class _Handler(http.server.BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    site: Site

    def do_GET(self) -> None:
        site, path = self.site, self.path.partition("?")[0]
        site.asked.append(self.path)
        site.parts.append((self.path, self.headers.get("Range", "")))
        time.sleep(site.slow_s)
        if path in site.redirects:
            self._head(302, {"Location": site.redirects[path], "Content-Length": "0"})
            return
        if site.busy > 0:
            site.busy -= 1
            self._head(503, {"Content-Length": "0"})
            return
        if path not in site.files:
            self._head(404, {"Content-Length": "0"})
            return
        self._send(site.files[path])

    def _send(self, content: bytes) -> None:
        site = self.site
        part = re.fullmatch(r"bytes=(\d+)-(\d+)", self.headers.get("Range", ""))
        version = len(site.asked) if site.changing else zlib.crc32(content)
        heads = {"ETag": f'"{version}"'}
        status = 200
        if part and site.ranges:
            first, last = int(part[1]), min(int(part[2]), len(content) - 1)
            first += site.wrong_part
            heads["Content-Range"] = f"bytes {first}-{last}/{len(content)}"
            content, status = content[first : last + 1], 206
        self._head(status, heads | {"Content-Length": str(len(content))})
        if site.breaks > 0 and len(content) > site.broken_after:
            site.breaks -= 1
            self.wfile.write(content[: site.broken_after])
            self.wfile.flush()
            self.connection.shutdown(socket.SHUT_RDWR)  # close() alone leaves it open for the files made of it
            self.close_connection = True
            return
        self.wfile.write(content)

    def _head(self, status: int, heads: dict[str, str]) -> None:
        self.send_response(status)
        for name, value in heads.items():
            self.send_header(name, value)
        self.end_headers()

    def log_message(self, *_: object) -> None:
        """Nothing."""


@contextlib.contextmanager
def serving(site: Site) -> Iterator[Site]:
    """The site at an address of its own while the context lasts."""
    handler = type("Handler", (_Handler,), {"site": site})
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler)
    server.handle_error = lambda *_: None  # type: ignore[method-assign]
    threading.Thread(target=server.serve_forever, args=(0.01,), daemon=True).start()
    site.address = f"http://127.0.0.1:{server.server_address[1]}"
    try:
        yield site
    finally:
        server.shutdown()
        server.server_close()
