"""What runs in a job's own process: limits first, then the work, then one line that says how it ended."""

from __future__ import annotations

import errno
import json
import math
import os
import re
import sys
from pathlib import Path
from typing import Any, TextIO

from tunnelsite.core.errors import InputRefused, OutputFailed, ResourceShortage, TunnelsiteError, UsageError

DIE_WITH_PARENT = 1  # PR_SET_PDEATHSIG of Linux
NEAR = 0.75
STAGE_SHARE = 0.3  # of what is left, for each further stage: how many there will be is not known beforehand


def main(task_file: str) -> int:
    """Do a task. Return: exit status, 0 where the outputs are in the folder."""
    task = json.loads(Path(task_file).read_text("utf-8"))
    limit_itself(task["limits"])
    if os.getppid() != task["server"]:  # the server died before it could be bound to it
        return 1
    teller = Teller(_own_output())
    try:
        from tunnelsite.hosts.server import work  # heavy: under the limits already

        work.done(task, Path(task_file).parent, teller)
    except Exception as problem:
        if _short_of_memory(problem) or (not isinstance(problem, TunnelsiteError) and near_the_limit(task["limits"])):
            memory = task["limits"]["job_memory_bytes"] >> 20
            words = f"the job needed more memory than the {memory} MiB it may use. Fix: use a larger cell or less land."
            teller.end(507, words)
        else:
            teller.end(*_words(problem))
        return 1
    teller.end(0, "done")
    return 0


def _short_of_memory(problem: BaseException) -> bool:
    """Whether an error says that memory ran out; a library that could not be loaded for lack of it says so in words."""
    words = str(problem).lower()
    return isinstance(problem, MemoryError) or (
        isinstance(problem, OSError | ImportError)
        and (
            getattr(problem, "errno", None) == errno.ENOMEM
            or any(said in words for said in ("allocate", "failed to map", "shared object"))
        )
    )


def limit_itself(limits: dict[str, int]) -> None:
    """Bound this process: address space, processor time, size of files, no core dump; it dies with the server."""
    try:
        import resource
    except ImportError:  # not on every system: there the wall clock alone rules
        return
    cores = os.cpu_count() or 1
    seconds = limits["job_seconds"] * cores
    for what, most in (
        (resource.RLIMIT_AS, limits["job_memory_bytes"]),
        (resource.RLIMIT_CPU, seconds),
        (resource.RLIMIT_FSIZE, limits["file_bytes"]),
        (resource.RLIMIT_CORE, 0),
    ):
        _, hard = resource.getrlimit(what)
        most = most if hard == resource.RLIM_INFINITY else min(most, hard)
        resource.setrlimit(what, (most, most))
    if sys.platform == "linux":
        import ctypes
        import signal

        ctypes.CDLL(None).prctl(DIE_WITH_PARENT, signal.SIGKILL)


def near_the_limit(limits: dict[str, int]) -> bool:
    """Whether this process came near what it may use: libraries say many things when they get no memory."""
    try:
        lines = Path("/proc/self/status").read_text("ascii").splitlines()
        peak = next(int(line.split()[1]) << 10 for line in lines if line.startswith("VmPeak:"))
    except (OSError, StopIteration, ValueError):
        return False
    return peak > NEAR * limits["job_memory_bytes"]


class Teller:
    """Tells the server how far the job is; called as the progress function of the toolkit. The share never falls."""

    def __init__(self, out: TextIO) -> None:
        self._out, self._stage, self._before, self._shown = out, "", 0.0, (-1, "")

    def __call__(self, what: str, share: float) -> None:
        if what != self._stage:
            if self._stage:
                self._before += STAGE_SHARE * (1.0 - self._before)
            self._stage = what
        share = min(1.0, max(0.0, share)) if math.isfinite(share) else 0.0
        shown = int(100 * (self._before + STAGE_SHARE * (1.0 - self._before) * share)), what
        if shown != self._shown:
            self._shown = shown
            self._say({"percent": shown[0], "what": what[:80]})

    def end(self, status: int, detail: str) -> None:
        """The last word."""
        self._say({"status": status, "detail": detail[:1500]})

    def _say(self, words: dict[str, Any]) -> None:
        self._out.write(json.dumps(words) + "\n")
        self._out.flush()


def _own_output() -> TextIO:
    """The pipe to the server, taken from under libraries that print."""
    own = os.fdopen(os.dup(1), "w", encoding="utf-8")
    silent = os.open(os.devnull, os.O_WRONLY)
    os.dup2(silent, 1)
    os.close(silent)
    return own


def _words(problem: Exception) -> tuple[int, str]:
    """(status of HTTP, words) for what went wrong; an error that was not foreseen tells only its kind."""
    if isinstance(problem, UsageError | InputRefused):
        return 400, _without_folder(str(problem))
    if isinstance(problem, ResourceShortage):
        return 507, _without_folder(str(problem))
    if isinstance(problem, OutputFailed):
        return 500, "the results could not be written on the server."
    return 500, f"the job failed on the server ({type(problem).__name__})."


def _without_folder(text: str) -> str:
    """Words without the folders of this machine in them."""
    return re.sub(r"(?<![\w.])/(?:[^\s/'\"]+/)+", "", text)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
