"""What is compiled beside a first run, and what the user hears of it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import textwrap
from pathlib import Path
from types import FunctionType

import pytest
from numba import njit

from tunnelsite.kernels import first_calls, first_run

# Every specialisation that the sample farm uses, less those that were called beforehand.
MISSED = """
    import gc, json, pkgutil, importlib, sys
    gc.set_threshold(100_000, 50, 100)  # as the process beside a first run has it: a fifth less time
    import tunnelsite.kernels
    from tunnelsite.hosts.cli.main import main
    from tunnelsite.kernels.first_calls import compile_screening
    from tunnelsite.kernels.shared import Shared

    def used():
        found = set()
        for module in pkgutil.walk_packages(tunnelsite.kernels.__path__, "tunnelsite.kernels."):
            for name, one in vars(importlib.import_module(module.name)).items():
                one = one.kernel if isinstance(one, Shared) else one
                home = getattr(one, "py_func", main).__module__.rsplit(".")[-1]  # others may import it
                found |= {f"{home} {name} {types}" for types in getattr(one, "signatures", ())}
        return found

    compile_screening()
    before = used()
    quick = ["--azimuths", "16", "--draws", "20", "-q"]
    assert main(["screen", "--project", sys.argv[2], *quick, "--out", sys.argv[1]]) == 0
    print(json.dumps([len(before), sorted(used() - before)]))
"""


def test_what_is_compiled_ahead_and_beside_is_what_a_screening_calls(tmp_path) -> None:
    farm = Path(__file__).resolve().parents[2] / "sample_data" / "farm.toml"
    run = [sys.executable, "-c", textwrap.dedent(MISSED), str(tmp_path / "sites.gpkg"), str(farm)]
    said = subprocess.run(run, check=True, capture_output=True, text=True).stdout
    called, missed = json.loads(said.splitlines()[-1])
    assert called > 50, "hardly a kernel was called: this test sees nothing"
    assert missed == []


def test_two_processes_go_the_same_way_from_either_end(monkeypatch) -> None:
    steps = [name for name, one in vars(first_calls).items() if isinstance(one, FunctionType) and name.startswith("_")]
    for name in set(steps) - {"_ground"}:
        step = lambda ground: None  # noqa: E731
        step.__name__ = name
        monkeypatch.setattr(first_calls, name, step)
    forward, back = [], []
    first_calls.compile_screening(forward.append, from_the_start=True)
    first_calls.compile_screening(back.append)
    assert forward == [*reversed(back), "_maps_and_plans"]
    assert set(forward) == set(steps) - {"_ground"}


@pytest.fixture(params=[True, False], ids=["stale", "new"])
def on_disk(request, monkeypatch) -> bool:
    monkeypatch.setattr(os, "cpu_count", lambda: 2)
    monkeypatch.setattr(first_run, "_on_disk", lambda: request.param)
    return request.param


def test_it_is_said_once_and_a_process_is_started_where_something_is_compiled(monkeypatch, on_disk) -> None:
    said, started = [], []

    class Beside:
        def kill(self) -> None:
            started.append("killed")

        def wait(self) -> None:
            pass

    monkeypatch.setattr(first_run.subprocess, "Popen", lambda command, **_: started.append(command[-1]) or Beside())
    with first_run.compiled_beside(said.append):
        assert not said
        assert bool(started) == (not on_disk), "the sooner it starts, the more it takes off the run"
        assert njit(lambda a: a + 1)(1) == 2
        assert njit(lambda a: a + 2)(1) == 3
    assert len(said) == 1 and "first run" in said[0]
    assert started == ["tunnelsite.kernels.first_run", "killed"]
    assert njit(lambda a: a + 3)(1) == 4
    assert len(said) == 1


def test_nothing_is_said_or_started_where_all_is_compiled(monkeypatch) -> None:
    said: list[str] = []
    add = njit(lambda a: a + 1)
    add(1)
    monkeypatch.setattr(first_run, "_on_disk", lambda: True)
    monkeypatch.setattr(first_run.subprocess, "Popen", lambda *_, **__: pytest.fail("started"))
    with first_run.compiled_beside(said.append):
        add(2)
    assert said == []


def test_a_run_without_a_second_process_goes_on(monkeypatch, on_disk) -> None:
    def refused(*_, **__):
        raise OSError("no more processes")

    monkeypatch.setattr(first_run.subprocess, "Popen", refused)
    said: list[str] = []
    with first_run.compiled_beside(said.append):
        assert njit(lambda a: a + 4)(1) == 5
    assert len(said) == 1


LEFT = """
    import numpy as np
    from tunnelsite.kernels import first_run
    from tunnelsite.kernels.terrain.lone_things import touched
    before = first_run._on_disk()
    touched(np.zeros((9, 9), np.float32), (2, 2), (2.5, 2.5), 1)
    print(before, first_run._on_disk())
"""


def test_what_the_last_step_left_on_disk_is_found(tmp_path) -> None:
    run = [sys.executable, "-c", textwrap.dedent(LEFT)]
    environment = os.environ | {"NUMBA_CACHE_DIR": str(tmp_path)}
    said = subprocess.run(run, env=environment, check=True, capture_output=True, text=True).stdout
    assert said.split() == ["False", "True"]


def test_an_error_in_a_thread_reaches_the_caller() -> None:
    import numba

    from tunnelsite.kernels.shared import Shared

    @Shared
    def third(mine, out):
        if mine[1] > 2:
            raise ValueError("no")
        out[mine[0]] = 1

    if numba.config.NUMBA_NUM_THREADS < 2:
        pytest.skip("one core")
    import numpy as np

    with pytest.raises(ValueError, match="no"):
        third(8, np.zeros(8))
