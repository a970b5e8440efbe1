"""`serve`: the processes and the screening over HTTP, as OGC API - Processes."""

from __future__ import annotations

import argparse
import os
import signal
import socket
from collections.abc import Callable
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING

from tunnelsite.core.ending import taken_away
from tunnelsite.core.errors import UsageError
from tunnelsite.core.units import whole_number
from tunnelsite.hosts.cli.streams import say, tell

if TYPE_CHECKING:
    from tunnelsite.core.plan_kind import PlanKind
    from tunnelsite.core.process import Process
    from tunnelsite.hosts.server.job_limits import Limits

LOOPBACK = ("127.0.0.1", "::1", "localhost")
SLACK_BYTES = 16 << 20  # a body that is a little too large is read and answered in words; others are cut off
SPARE_THREADS = 6  # for questions while others wait for their jobs


def serve(given: argparse.Namespace) -> int:
    """Serve until interrupted."""
    if os.name != "posix":
        raise UsageError(
            f"this is {os.name}", "Linux or macOS, where a job can be limited and ended", "serve from there"
        )
    try:
        from waitress import create_server

        from tunnelsite.hosts.server.application import application
    except ImportError as problem:
        raise UsageError(
            f"the server needs a package that is missing ({problem.name})",
            "the extra `server`",
            "run pip install pygeoapi waitress",
        ) from None
    from tunnelsite.core import catalogue
    from tunnelsite.hosts.server.configuration import configuration
    from tunnelsite.hosts.server.datasets import datasets_in
    from tunnelsite.hosts.server.offers import SCREENING

    limits = _limits(given)
    if given.url is not None and not given.url.startswith(("http://", "https://")):
        raise UsageError(f"--url is {given.url[:80]!r}", "an address such as https://example.org/sites", "correct it")
    datasets = datasets_in(None if given.data is None else Path(given.data))
    tools: list[Process | PlanKind] = [*catalogue.processes(_say), *catalogue.plans(_say)]
    names = list(dict.fromkeys([SCREENING, *(tool.id for tool in tools)]))
    listening = _listening(given.host, given.port)
    try:
        url = _url(given, listening)
        told = configuration(url, limits, datasets, names, listening.getsockname()[1])
        app, manager = application(told, _quiet if given.quiet else _say)
        try:
            server = create_server(
                app,
                sockets=[listening],
                threads=limits.max_jobs + limits.max_waiting + SPARE_THREADS,
                max_request_body_size=limits.body_bytes + SLACK_BYTES,
                max_request_header_size=16_384,
                channel_timeout=60,
                ident=None,
                expose_tracebacks=False,
            )
            _stop_with(manager.close)
            say(f"tunnelsite serves OGC API - Processes at {url}/ (stop it with Ctrl+C)")
            with taken_away(manager.close):
                server.run()
        finally:
            manager.close()
    finally:
        listening.close()
    return 0


def _limits(given: argparse.Namespace) -> Limits:
    from tunnelsite.hosts.server.job_limits import MIB, Limits

    usual = Limits()
    return Limits(
        max_cells=_whole("--max-cells", given.max_cells, usual.max_cells, 9),
        sync_cells=_whole("--sync-cells", given.sync_cells, usual.sync_cells, 9),
        body_bytes=MIB * _whole("--max-body", given.max_body, usual.body_bytes // MIB, 1),
        max_jobs=_whole("--max-jobs", given.max_jobs, usual.max_jobs, 1),
        max_waiting=_whole("--max-waiting", given.max_waiting, usual.max_waiting, 0),
        job_seconds=_whole("--job-seconds", given.job_seconds, usual.job_seconds, 1),
        job_memory_bytes=MIB * _whole("--job-memory", given.job_memory, usual.job_memory_bytes // MIB, 512),
        keep_seconds=60 * _whole("--keep-minutes", given.keep_minutes, usual.keep_seconds // 60, 1),
    )


def _whole(option: str, text: str | None, usual: int, least: int) -> int:
    return usual if text is None else whole_number(text, option, least, 10**9)


def _listening(host: str, port: str) -> socket.socket:
    number = whole_number(port, "--port", 0, 65_535)
    try:
        place = socket.getaddrinfo(host, number, type=socket.SOCK_STREAM)[0]
        listening = socket.socket(place[0], socket.SOCK_STREAM)
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind(place[4])
    except (OSError, OverflowError, UnicodeError) as problem:
        raise UsageError(
            f"--host {host[:80]} --port {port} cannot be listened on ({problem})",
            "an address of this machine and a free port",
            "choose others",
        ) from None
    return listening


def _url(given: argparse.Namespace, listening: socket.socket) -> str:
    """Under which address clients reach the server. Errors: UsageError where only the operator can know."""
    if given.url:
        return str(given.url).rstrip("/")
    if given.host not in LOOPBACK:
        raise UsageError(
            f"--host is {given.host}, which others can reach",
            "--url as well, the address under which they do",
            "give it; put a web server with TLS and accounts in front, since this one has neither",
        )
    host = "[::1]" if given.host == "::1" else given.host
    return f"http://{host}:{listening.getsockname()[1]}"


def _stop_with(close: Callable[[], None]) -> None:
    """Let Ctrl+C and SIGTERM end the jobs and then the server: it would wait for requests that wait for a job."""

    def stop(number: int, frame: FrameType | None) -> None:
        close()
        raise SystemExit(0)

    for number in (signal.SIGINT, signal.SIGTERM):
        if signal.getsignal(number) != signal.SIG_IGN:
            signal.signal(number, stop)


def _say(text: str) -> None:
    tell(f"tunnelsite: {text}")


def _quiet(text: str) -> None:
    """The log of those who do not want one."""
