"""Standard output and error that are full, closed, or read by somebody who goes away: said, or borne, and never written into a file."""

from __future__ import annotations

import errno
import io
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.whole_run.files import gentle, plain_farm
from tunnelsite.hosts.cli.main import main
from tunnelsite.hosts.cli.streams import tell

ROOT = Path(__file__).resolve().parents[3]


def program(*words: str, cwd: Path = ROOT, **streams) -> subprocess.CompletedProcess:
    command = [sys.executable, "-m", "tunnelsite", *words]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    return subprocess.run(command, cwd=cwd, env=environment, timeout=120, check=False, **streams)


class Broken(io.StringIO):
    """A stream that takes `room` letters."""

    def __init__(self, room: int, number: int) -> None:
        super().__init__()
        self.room, self.number = room, number

    def write(self, text: str) -> int:
        if self.tell() + len(text) > self.room:
            raise OSError(self.number, os.strerror(self.number))
        return super().write(text)


@pytest.mark.parametrize("room", [0, 100, 5000])
@pytest.mark.parametrize("words", [["processes"], ["--version"], ["run", "--help"]])
def test_an_answer_that_finds_no_room_is_an_output_that_failed(monkeypatch, capsys, room, words) -> None:
    stream = Broken(room, errno.ENOSPC)
    monkeypatch.setattr(sys, "stdout", stream)
    status, said = main(words), capsys.readouterr().err
    if stream.getvalue() and status == 0:
        assert not said and len(stream.getvalue()) <= room
        return
    assert status == 5 and said.count("\n") == 1
    assert "standard output" in said and "No space left" in said and "Expected: " in said and "Fix: " in said


def test_a_reader_that_goes_away_is_no_failure_and_nobody_need_listen(monkeypatch, capsys) -> None:
    monkeypatch.setattr(sys, "stdout", Broken(100, errno.EPIPE))
    assert main(["processes"]) == 0 and not capsys.readouterr().err
    monkeypatch.setattr(sys, "stderr", Broken(0, errno.EPIPE))
    tell("reading ...\n")
    assert main(["run", "nothing", "a.tif", "b.tif"]) == 2


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="/dev/full is of Linux")
def test_a_full_disk_behind_standard_output() -> None:
    with open("/dev/full", "w") as full:
        done = program("processes", stdout=full, stderr=subprocess.PIPE, text=True)
    assert done.returncode == 5 and done.stderr.startswith("tunnelsite: the answer cannot be written")
    assert done.stderr.count("\n") == 1


@pytest.mark.skipif(os.name != "posix", reason="descriptors of POSIX")
def test_closed_streams_are_not_taken_for_the_files_of_a_run(tmp_path: Path) -> None:
    """Where 1 and 2 are closed, the next files opened get these numbers: what is printed must not land in them."""
    plain_farm(tmp_path, gentle(20, 30))
    assert main(["run", "slope", str(tmp_path / "dem.tif"), str(tmp_path / "a.tif"), "-q"]) == 0

    def closed() -> None:
        for number in range(3):
            os.close(number)

    assert program("run", "slope", "dem.tif", "b.tif", cwd=tmp_path, preexec_fn=closed).returncode == 0
    assert (tmp_path / "a.tif").read_bytes() == (tmp_path / "b.tif").read_bytes()
