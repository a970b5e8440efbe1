"""Runs the installed program: with an environment of its own, line by line, and ended when the user cancels."""

from __future__ import annotations

import json
import os
import queue
import signal
import subprocess
import threading
from pathlib import Path

# What QGIS sets for its own libraries would send the program's own ones astray.
FOREIGN = (
    "PYTHONHOME",
    "PYTHONPATH",
    "GDAL_DATA",
    "GDAL_DRIVER_PATH",
    "PROJ_LIB",
    "PROJ_DATA",
    "LD_LIBRARY_PATH",
    "QT_PLUGIN_PATH",
)
WAIT_S = 0.2
END_S = 10


class ProgramError(Exception):
    """The program could not be started or ended with an error; the text says what it said."""


def command() -> list[str]:
    """The words that start the program, as `tunnelsite gis-plugin` wrote them beside this file."""
    return json.loads((Path(__file__).parent / "program.json").read_text("utf-8"))["command"]


def described() -> list[dict]:
    """Every tool as the program describes it. Errors: ProgramError."""
    return json.loads(run(["describe", "--json"]))["tools"]


def run(arguments, line=None, cancelled=None) -> str:
    """Run the program and return what it printed.

    Arguments: words after its name; line, called with each line of its progress; cancelled, asked five times a second.
    Errors: ProgramError where it cannot be started, fails or is cancelled.
    """
    try:
        process = subprocess.Popen(
            [*command(), *arguments],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            encoding="utf-8",
            errors="replace",
            env={name: value for name, value in os.environ.items() if name not in FOREIGN},
            creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
        )
    except (OSError, ValueError) as problem:
        raise ProgramError(
            f"tunnelsite could not be started ({problem}). Fix: install the plug-in again with `tunnelsite gis-plugin`."
        ) from None
    said, errors = _listened(process, line, cancelled)
    if process.returncode:
        raise ProgramError("\n".join(errors[-5:]) or f"tunnelsite ended with status {process.returncode}")
    return said


def _listened(process, line, cancelled):
    heard = queue.Queue()
    readers = [threading.Thread(target=_reader, args=(stream, name, heard), daemon=True)
               for name, stream in (("answer", process.stdout), ("progress", process.stderr))]  # fmt: skip
    for reader in readers:
        reader.start()
    said, errors, open_streams = [], [], len(readers)
    while open_streams:
        if cancelled is not None and cancelled():
            _end(process)
            raise ProgramError("cancelled; no output was changed")
        try:
            name, text = heard.get(timeout=WAIT_S)
        except queue.Empty:
            continue
        if text is None:
            open_streams -= 1
        elif name == "answer":
            said.append(text)
        else:
            errors.append(text.rstrip())
            if line is not None:
                line(text.rstrip())
    process.wait()
    return "".join(said), errors


def _reader(stream, name, heard):
    for text in stream:
        heard.put((name, text))
    heard.put((name, None))


def _end(process):
    """Ask the program to end, which leaves no half output; kill it only where it does not."""
    process.send_signal(signal.SIGTERM)
    try:
        process.wait(END_S)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()
