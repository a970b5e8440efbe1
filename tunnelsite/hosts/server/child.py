"""The server's side of a job: a process of its own that is watched, limited and, if need be, killed with all it started."""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import tunnelsite
from tunnelsite.hosts.server.job_limits import MIB, Limits

MODULE = "tunnelsite.hosts.server.job"
KEPT_VARIABLES = (
    "PATH",
    "LANG",
    "LD_LIBRARY_PATH",
    "NUMBA_CACHE_DIR",
    "OPENBLAS_CORETYPE",  # who sets it wants one kind of sums; without it the last digit may be another
    "PROJ_DATA",
    "PROJ_LIB",
    "GDAL_DATA",
    "SYSTEMROOT",
)
LONGEST_LINE = 4096
GRACE_S = 3.0
ENDED_BY_OTHERS = (signal.SIGKILL, signal.SIGTERM, signal.SIGINT, signal.SIGHUP)  # no library ends its own process so


@dataclass(frozen=True)
class Outcome:
    """How a job ended: status 0 for success, else that of HTTP; detail, words for the client."""

    status: int
    detail: str


class Child:
    """A running job.

    Arguments: folder, the job's own, where it works; task, what it is to do, as JSON; limits.
    """

    def __init__(self, folder: Path, task: dict[str, Any], limits: Limits) -> None:
        self.folder, self.limits, self._why = folder, limits, ""
        told = {"limits": asdict(limits), "server": os.getpid()}
        (folder / "task.json").write_text(json.dumps(task | told, allow_nan=False), "utf-8")
        self._process = subprocess.Popen(
            [sys.executable, "-P", "-m", MODULE, str(folder / "task.json")],
            cwd=folder,
            env=_environment(folder, limits),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,  # what libraries say there may repeat data
            start_new_session=True,  # a group of its own, which can be killed as one
            close_fds=True,
        )
        self._timer = threading.Timer(limits.job_seconds, self._too_long)
        self._timer.daemon = True
        self._timer.start()

    @property
    def pid(self) -> int:
        """Number of the process."""
        return self._process.pid

    def outcome(self, heard: Callable[[int, str], None]) -> Outcome:
        """Wait for the end. Arguments: heard, called with (percent, what is being done)."""
        told: Outcome | None = None
        if self._process.stdout is None:
            raise RuntimeError("the child was started without a pipe")
        with self._process.stdout as lines:
            while line := lines.readline(LONGEST_LINE):
                with contextlib.suppress(ValueError, TypeError, KeyError):
                    said = json.loads(line)
                    if "status" in said:
                        told = Outcome(int(said["status"]), str(said["detail"]))
                    else:
                        heard(int(said["percent"]), str(said["what"]))
        code = self._process.wait()
        self._timer.cancel()
        self._kill_group()  # nothing that it started outlives it
        if self._why:
            return Outcome(507, self._why)
        if told is not None and (code == 0) == (told.status == 0):
            return told
        return self._unanswered(code)

    def kill(self, why: str = "dismissed") -> None:
        """End the job and everything it started, at once."""
        self._why = self._why or why
        self._timer.cancel()
        self._kill_group()
        with contextlib.suppress(subprocess.TimeoutExpired):
            self._process.wait(GRACE_S)

    def _too_long(self) -> None:
        self.kill(
            f"the job took more than {self.limits.job_seconds} s, which is what a job may take here. "
            "Fix: use a larger cell, fewer houses or bearings, or less land."
        )

    def _kill_group(self) -> None:
        with contextlib.suppress(ProcessLookupError, PermissionError):
            os.killpg(self._process.pid, signal.SIGKILL)

    def _unanswered(self, code: int) -> Outcome:
        if code == -signal.SIGXCPU:
            return Outcome(507, f"the job used more processor time than {self.limits.job_seconds} s allow.")
        if code == -signal.SIGXFSZ:
            return Outcome(
                507,
                f"the job wrote a file of more than {self.limits.file_bytes // MIB} MiB, which is what it may write.",
            )
        if -code in ENDED_BY_OTHERS:
            name = signal.Signals(-code).name
            return Outcome(
                500,
                f"the job was ended from outside ({name}): by the operator, or by the system where the machine's memory ran out. "
                "Fix: send it again; where that ends alike, use a larger cell or less land.",
            )
        memory = self.limits.job_memory_bytes // MIB
        return Outcome(
            507,
            f"the job ended without an answer, most likely because it needed more memory than the {memory} MiB it may use. "
            "Fix: use a larger cell or less land.",
        )


def _environment(folder: Path, limits: Limits) -> dict[str, str]:
    """Little of the server's own environment: a job needs no secrets of the operator."""
    kept = {name: os.environ[name] for name in KEPT_VARIABLES if name in os.environ}
    paths = [str(Path(tunnelsite.__file__).resolve().parents[1])]
    paths += [os.path.abspath(path) for path in os.environ.get("PYTHONPATH", "").split(os.pathsep) if path]
    return kept | {
        "PYTHONPATH": os.pathsep.join(paths),
        "HOME": str(folder),
        "TMPDIR": str(folder),
        "NUMBA_NUM_THREADS": str(limits.threads()),
        "OMP_NUM_THREADS": str(limits.threads()),
        "OMP_WAIT_POLICY": "PASSIVE",  # between two kernels a job's threads leave their cores to the other jobs
        "OPENBLAS_NUM_THREADS": "1",
        "MALLOC_ARENA_MAX": "2",  # arenas reserve address space, which is what is limited
    }
