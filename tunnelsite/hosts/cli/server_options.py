"""Options of `serve` and `desk`."""

from __future__ import annotations

import argparse

from tunnelsite.hosts.cli.arguments import whole

SERVER_OPTIONS = (
    ("--host", "ADDRESS", "127.0.0.1", "address to listen on (default 127.0.0.1: this machine only)"),
    ("--port", "NUMBER", "8008", "port to listen on (default 8008; 0 takes a free one)"),
    ("--url", "URL", None, "address under which clients reach the server, where another web server is in front"),
    ("--data", "FOLDER", None, "offer the files of this folder to clients, by their names without ending"),
    ("--max-cells", "NUMBER", None, "cells of a raster and of a working grid (default 16000000)"),
    ("--sync-cells", "NUMBER", None, "cells up to which a client may wait for the answer (default 1000000)"),
    ("--max-body", "MIB", None, "size of a request (default 64)"),
    ("--max-jobs", "NUMBER", None, "jobs that run at once (default 2)"),
    ("--max-waiting", "NUMBER", None, "further jobs that may wait (default 8)"),
    ("--job-seconds", "NUMBER", None, "time that a job may take (default 600)"),
    ("--job-memory", "MIB", None, "address space that a job may use (default 6144)"),
    ("--keep-minutes", "NUMBER", None, "how long finished jobs are kept (default 60)"),
)


def add_options(command: argparse.ArgumentParser) -> None:
    """Options of `serve`."""
    for option, metavar, usual, text in SERVER_OPTIONS:
        command.add_argument(option, metavar=metavar, default=usual, help=text)
    command.add_argument("-q", "--quiet", action="store_true", help="no log on stderr")


def add_desk_options(command: argparse.ArgumentParser) -> None:
    """Options of `desk`."""
    command.add_argument(
        "folder", nargs="?", default=".", metavar="FOLDER", help="project folder, or an empty one (default: here)"
    )
    command.add_argument(
        "--port", type=whole("--port", 0, 65_535), default=0, metavar="NUMBER", help="port (default: a free one)"
    )
    command.add_argument("--no-browser", action="store_true", help="print the address and open nothing")
