"""Environment variables that would end a command in a traceback, or make it say two different things."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

from tunnelsite.hosts.cli.main import main
from tunnelsite.hosts.cli.surroundings import check_environment


@pytest.mark.parametrize("value", ["0", "-1", "two", "", " ", "1.5", "99999"])
def test_wrong_number_of_threads(monkeypatch, capsys, value) -> None:
    monkeypatch.setenv("NUMBA_NUM_THREADS", value)
    assert main(["processes"]) == 2
    assert "NUMBA_NUM_THREADS is" in capsys.readouterr().err


def test_right_values_are_taken() -> None:
    check_environment({"NUMBA_NUM_THREADS": "2", "SOURCE_DATE_EPOCH": "0"})
    check_environment({})


def test_a_wrong_time_is_refused_before_anything_is_read(monkeypatch, capsys) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "abc")
    assert main(["screen", "none.tif", "none.gpkg"]) == 2
    assert "SOURCE_DATE_EPOCH is 'abc'" in capsys.readouterr().err


def test_warnings_as_errors_end_no_command(tmp_path) -> None:
    environment = os.environ | {"PYTHONWARNINGS": "error"}
    words = [
        sys.executable,
        "-m",
        "tunnelsite",
        "check",
        "sample_data/dem.tif",
        "sample_data/parcels.gpkg",
        "--weather",
        "no.epw",
    ]
    done = subprocess.run(words, env=environment, capture_output=True, text=True)
    assert done.returncode == 3 and "Traceback" not in done.stderr and "there is no file 'no.epw'" in done.stderr
    done = subprocess.run(words[:-2], env=environment, capture_output=True, text=True)
    assert (done.returncode, done.stderr) == (0, "")
