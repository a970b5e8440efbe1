"""Another process to test against."""

from __future__ import annotations

import contextlib
import subprocess
import sys
import textwrap
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


@contextlib.contextmanager
def other_program(code: str, *arguments: object):
    """Another process that runs `code`, prints a line when ready and waits to be told to go on; killed at
    the end."""
    program = [sys.executable, "-c", textwrap.dedent(code), *map(str, arguments)]
    process = subprocess.Popen(program, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=ROOT)
    try:
        assert process.stdout.readline() == "ready\n"
        yield process
    finally:
        process.kill()
        process.wait()
        process.stdin.close()
        process.stdout.close()
