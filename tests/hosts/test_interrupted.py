"""Ctrl-C in the middle of a screening, as a process of its own meets it."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tests.whole_run.files import gentle, plain_farm

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")
@pytest.mark.parametrize("stage", ["reading", "light"])
def test_ctrl_c_keeps_the_old_output_and_leaves_nothing(tmp_path: Path, stage: str) -> None:  # bad_inputs run-01
    plain_farm(tmp_path, gentle(300, 400))
    (tmp_path / "s.gpkg").write_bytes(b"old")
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    command = [sys.executable, "-m", "tunnelsite", "screen", "dem.tif", "parcels.gpkg", "--house", "6x15m"]
    process = subprocess.Popen(
        [*command, "--out", "s.gpkg", "--overwrite"], cwd=tmp_path, env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        said = ""
        while stage not in said:
            line = process.stderr.readline()
            assert line, said
            said += line
        process.send_signal(signal.SIGINT)
        out, rest = process.communicate(timeout=60)  # far more than it takes; how fast it is depends on the machine
    finally:
        process.kill()
    assert process.returncode == 130, rest
    assert "interrupted" in rest and "Traceback" not in rest and not out
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before
