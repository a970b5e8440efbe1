"""How a worker is started: forked where that can be done, else from nothing."""

from __future__ import annotations

import multiprocessing
import sys
from multiprocessing import forkserver

import pytest

from tunnelsite.desk import worker


@pytest.mark.skipif(sys.platform != "linux", reason="workers are forked on Linux alone")
def test_worker_that_cannot_be_forked_starts_from_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*given: object) -> None:
        raise OSError("AF_UNIX path too long")

    monkeypatch.setattr(worker, "work_on", bool)
    monkeypatch.setattr(forkserver._forkserver, "ensure_running", refused)
    monkeypatch.setattr(forkserver, "ensure_running", refused)
    ours, theirs = multiprocessing.Pipe()
    with ours, theirs:
        process = worker.started(theirs)
        process.join(60)
    assert type(process).__name__ == "SpawnProcess" and process.exitcode == 0
