"""The jobs of one server: accepted, queued, run one by one in child processes, kept for a while, forgotten."""

from __future__ import annotations

import hashlib
import secrets
import shutil
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from tunnelsite.hosts.server.child import Child, Outcome
from tunnelsite.hosts.server.job_limits import Limits
from tunnelsite.hosts.server.refusals import Refused, no_such_job
from tunnelsite.io.held_folder import HeldFolder

ID_BYTES = 16  # 128 bit: an identifier cannot be guessed
RETRY_S = 10


@dataclass(eq=False)
class Job:
    """One job. `owner` is a digest of the token it was made with, or ``. `wanted` is what the client wants of it."""

    identifier: str
    process_id: str
    folder: Path
    owner: str
    wanted: Any = None
    status: str = "accepted"
    message: str = "waiting for a free place"
    progress: int = 0
    created: str = ""
    started: str | None = None
    finished: str | None = None
    updated: str = ""
    forget_at: float = float("inf")
    failure: Outcome | None = None
    child: Child | None = None
    done: threading.Event = field(default_factory=threading.Event)


def owner_of(token: str) -> str:
    """What is kept of a client's token."""
    return hashlib.sha256(token.encode()).hexdigest() if token else ""


def now() -> str:
    """The time in RFC 3339, UTC."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


class JobStore:
    """Holds the jobs; every method may be called from any thread.

    Arguments: limits; log, called with a line on what happened (never with data, never with a whole identifier).
    """

    def __init__(self, limits: Limits, log: Callable[[str], None]) -> None:
        self.limits, self.log = limits, log
        self._jobs: dict[str, Job] = {}
        self._lock = threading.RLock()
        self._folder = HeldFolder("server")
        self._pool = ThreadPoolExecutor(limits.max_jobs, "job")
        self._closed = threading.Event()
        threading.Thread(target=self._forget_for_ever, name="forget", daemon=True).start()

    def accepted(self, process_id: str, owner: str) -> Job:
        """A new job with a folder of its own. Errors: Refused (503) where enough are waiting."""
        with self._lock:
            self._forget()
            busy = sum(not job.done.is_set() for job in self._jobs.values())
            if self._closed.is_set() or busy >= self.limits.max_jobs + self.limits.max_waiting:
                raise Refused(
                    503,
                    f"{busy} jobs are running or waiting, which is as many as there may be. Try again later.",
                    headers={"Retry-After": str(RETRY_S)},
                )
            identifier = secrets.token_hex(ID_BYTES)
            folder = self._folder.path / secrets.token_hex(8)  # not the identifier: that is a key, and paths get about
            (folder / "inputs").mkdir(parents=True)
            (folder / "outputs").mkdir()
            job = Job(identifier, process_id, folder, owner, created=now(), updated=now())
            self._jobs[identifier] = job
            return job

    def start(self, job: Job, task: dict[str, Any]) -> None:
        """Queue a job."""
        self.log(f"job {job.identifier[:6]}..: {job.process_id} accepted")
        self._pool.submit(self._run, job, task)

    def found(self, job_id: str, owner: str) -> Job:
        """A job by its identifier; one that was made with a token only for the same token. Errors: Refused (404)."""
        with self._lock:
            self._forget()
            job = self._jobs.get(job_id)
        if job is None or (job.owner and not secrets.compare_digest(job.owner, owner)):
            raise no_such_job(job_id)
        return job

    def owned(self, owner: str) -> list[Job]:
        """Jobs made with the same token; without a token none, since an identifier is what opens a job."""
        with self._lock:
            self._forget()
            return [job for job in self._jobs.values() if owner and job.owner == owner]

    def dismiss(self, job: Job) -> None:
        """End a job, kill its child with all that belongs to it, and delete what it left."""
        with self._lock:
            self._jobs.pop(job.identifier, None)
            unfinished = not job.done.is_set()
            if unfinished:
                job.status, job.message = "dismissed", "dismissed"
            child = job.child
        if child is not None:
            child.kill()
        if unfinished:
            self.log(f"job {job.identifier[:6]}..: dismissed")
        self._settle(job)

    def close(self) -> None:
        """End every job and delete everything."""
        self._closed.set()
        for job in list(self._jobs.values()):
            self.dismiss(job)
        self._pool.shutdown(wait=True, cancel_futures=True)
        self._folder.remove()

    def _run(self, job: Job, task: dict[str, Any]) -> None:
        start = time.monotonic()
        try:
            with self._lock:
                if job.status == "dismissed" or self._closed.is_set():
                    return
                job.status, job.message, job.started, job.updated = "running", "started", now(), now()
                job.child = Child(job.folder, task, self.limits)
            outcome = job.child.outcome(lambda share, what: self._heard(job, share, what))
        except Exception as problem:  # the server has to stay up, and the client has to hear of it
            outcome = Outcome(500, "the job could not be run on this server")
            self.log(f"job {job.identifier[:6]}..: {type(problem).__name__}")
        finally:
            self._settle(job)
        with self._lock:
            if job.status != "dismissed":
                job.failure = outcome if outcome.status else None
                job.status = "failed" if outcome.status else "successful"
                job.message, job.progress = outcome.detail, job.progress if outcome.status else 100
                job.finished = job.updated = now()
                self.log(f"job {job.identifier[:6]}..: {job.status} after {time.monotonic() - start:.1f} s")
                job.forget_at = time.monotonic() + self.limits.keep_seconds
        job.done.set()

    def _heard(self, job: Job, percent: int, what: str) -> None:
        with self._lock:
            job.progress, job.message, job.updated = max(job.progress, min(99, percent)), what, now()

    def _settle(self, job: Job) -> None:
        """Delete the inputs of a job that has ended, and all of one that was dismissed or failed."""
        shutil.rmtree(job.folder / "inputs", ignore_errors=True)
        if job.status == "dismissed" or job.identifier not in self._jobs:
            shutil.rmtree(job.folder, ignore_errors=True)
            job.done.set()

    def _forget(self) -> None:
        kept = [job for job in self._jobs.values() if job.done.is_set()]  # in the order in which they were accepted
        surplus = kept[: max(0, len(kept) - self.limits.max_kept)]
        for job in [job for job in kept if job in surplus or job.forget_at <= time.monotonic()]:
            del self._jobs[job.identifier]
            shutil.rmtree(job.folder, ignore_errors=True)

    def _forget_for_ever(self) -> None:
        while not self._closed.wait(min(30.0, max(0.2, self.limits.keep_seconds / 4))):
            with self._lock:
                self._forget()
