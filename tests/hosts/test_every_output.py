"""Every output of every command: whatever fails while it is written, each file is old or new and whole, nothing is left beside it,
and the command says so in words with its exit status. Rows output-01 to output-15 of the bad-input plan, command by command."""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import pytest

from tests.hosts.commands_that_write import ANSWERS, COMMANDS, RASTERS, Kept, Runner, small_farm
from tests.hosts.test_every_option import _commands
from tests.io.faults import DiskFaults, folder_state
from tests.io.watched import CAN_WATCH, watched
from tunnelsite.io.write import locks
from tunnelsite.screening import saving as result_files

pytest.importorskip("resvg_py", reason="pictures as PNG need the extra `png`")

# What io/write/staging.py makes beside an output, and how the kernel calls a file without a name.
OWN_NAME = re.compile(r"\..+-[0-9a-f]{8}\.(run-lock|write-lock|partial(\.[a-z]+)?(\.cells\.tif)?(-journal)?)|#[0-9]+")


@pytest.fixture(scope="module")
def farm(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("farm")
    small_farm(folder)
    return folder


@pytest.fixture(scope="module")
def kept() -> dict[str, Kept]:
    """What each command computed, for all tests of this module."""
    return {name: Kept() for name in COMMANDS}


@pytest.fixture
def asked(farm, kept, monkeypatch, capsys, tmp_path):
    """(command, folder of its outputs, more words) -> (exit status, what it said on stderr)."""
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1700000000")
    (tmp_path / "out").mkdir()

    def ask(name: str, *more: str, out: Path | None = None) -> tuple[int, str]:
        capsys.readouterr()
        status = Runner(farm, kept[name], monkeypatch).run(COMMANDS[name], out or tmp_path / "out", *more)
        return status, capsys.readouterr().err

    return ask


def state(out: Path) -> dict[str, bytes]:
    """Every file there with its content, but for the parts of a region."""
    shutil.rmtree(out / "parts", ignore_errors=True)
    return folder_state(out)


def one_by_one(name: str) -> frozenset[str]:
    """The outputs of a command that are tried one after the other: of twenty rasters that are written alike the first and the last."""
    alike = RASTERS[1:-1] if name == "screen" else ()
    return frozenset(file for file in COMMANDS[name].files if Path(file).stem not in alike)


def lay_old(out: Path, names) -> dict[str, bytes]:
    for name in names:
        (out / name).write_bytes(b"old")
    return dict.fromkeys(names, b"old")


def assert_said(said: str) -> None:
    """One message that says what was given, what is expected and how to fix it; no traceback."""
    assert said.startswith("tunnelsite: ") and said.count("\n") == 1, said
    assert "Expected: " in said and "Fix: " in said and "Traceback" not in said, said


def test_every_command_is_in_the_table() -> None:
    elsewhere = {
        "serve",
        "desk",
        "gather",
        "init",
        "gis-plugin",
    }  # tests/hosts/server, tests/desk, tests/gather, tests/hosts/cli/test_init.py, tests/hosts/gis
    assert _commands().keys() == COMMANDS.keys() | ANSWERS.keys() | elsewhere


@pytest.fixture(scope="module")
def hook():
    """What Python opens for writing, moves or removes anywhere while the list is not None (audit events of PEP 578)."""
    heard: dict[str, list[tuple[str, str]] | None] = {"seen": None}

    def hear(event: str, arguments) -> None:
        seen = heard["seen"]
        if seen is None or event not in ("open", "os.rename", "os.remove", "os.link", "os.symlink", "os.mkdir"):
            return
        path = arguments[event in ("os.rename", "os.link", "os.symlink")]
        if event == "os.remove" and arguments[1] != -1:
            return  # inside a folder that is being taken away
        if event == "open":
            flags = arguments[2] or 0
            if not set(str(arguments[1] or "")) & set("wax+") and not flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT):
                return
        if isinstance(path, str | bytes | os.PathLike):  # else a file that was opened before
            folder, name = os.path.split(os.fsdecode(path))
            seen.append(
                (
                    event,
                    os.path.join(os.path.realpath(folder), name) if event == "os.symlink" else os.path.realpath(path),
                )
            )

    sys.addaudithook(hear)  # it cannot be taken off again, but it can rest
    return heard


@pytest.fixture
def opened(hook, monkeypatch, tmp_path):
    """A list that fills, for one test, with what Python writes outside the folder for temporary files."""
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(scratch))
    hook["seen"] = seen = []
    try:
        yield lambda: [
            (event, path)
            for event, path in seen
            if path != os.devnull and not Path(path).is_relative_to(scratch) and "__pycache__" not in path
        ]  # compiled modules and kernels are nobody's output
    finally:
        hook["seen"] = None


@pytest.mark.skipif(not CAN_WATCH, reason="inotify is of Linux")
@pytest.mark.parametrize("name", COMMANDS)
def test_no_output_is_ever_opened_for_writing(asked, opened, tmp_path, name) -> None:
    """Seen from the kernel: each output is only ever moved to its place, once; all that is written has a name of its own."""
    out = tmp_path / "out"
    with watched([out]) as seen:
        status, said = asked(name)
    written = opened()
    assert status == 0, said
    assert state(out).keys() == COMMANDS[name].files, "the table of outputs is behind"
    for file in COMMANDS[name].files:
        assert seen.pop(out / file) == ["moved to"], file
    seen.pop(out / "parts", None)
    assert [path.name for path in seen if not OWN_NAME.fullmatch(path.name)] == []
    finals = {str(out / file) for file in COMMANDS[name].files}
    assert [path for _, path in written if not Path(path).is_relative_to(out)] == []
    assert {event for event, path in written if path in finals} <= {"os.rename"}


@pytest.mark.skipif(not CAN_WATCH, reason="inotify is of Linux")
@pytest.mark.parametrize("name", ANSWERS)
def test_commands_that_only_answer_write_nothing(farm, opened, monkeypatch, capsys, tmp_path, name) -> None:
    out = tmp_path / "out"
    out.mkdir()
    with watched([farm, out]) as seen:
        status = Runner(farm, Kept(), monkeypatch).run(ANSWERS[name], out)
    written = opened()
    assert status == 0, capsys.readouterr().err
    assert folder_state(out) == {}
    # a dry run tries whether the folder can be written to, with a file that has no name
    assert [path.name for path in seen if not path.name.startswith("#")] == []
    assert [item for item in written if Path(item[1]) not in (out, farm)] == []


@pytest.mark.parametrize("name", COMMANDS)
def test_outputs_of_any_name(farm, kept, monkeypatch, capsys, tmp_path, name) -> None:
    """Every file appears under its name, in a folder of any name, and nothing else does."""
    stem, out = 'a;b!"c":\nd?#%41', tmp_path / 'run "10:30"; x!\n\u202e'
    out.mkdir()
    words = [word.replace("{out}/a.", f"{{out}}/{stem}.") for word in COMMANDS[name].words]
    status = Runner(farm, kept[name], monkeypatch).run(replace(COMMANDS[name], words=words), out)
    said = capsys.readouterr()
    assert status == 0, said.err
    named = (word.startswith(f"{{out}}/{stem}") for word in words)
    changed = any(named)
    files = {f"{stem}{file[1:]}" if changed and file[:2] in ("a.", "a-") else file for file in COMMANDS[name].files}
    assert state(out).keys() == files


@pytest.mark.parametrize("name", ANSWERS)
def test_inputs_in_a_folder_of_any_name(farm, monkeypatch, capsys, tmp_path, name) -> None:
    elsewhere = tmp_path / 'run "10:30"; x!\n\u202e'
    shutil.copytree(farm, elsewhere)
    Runner(farm, Kept(), monkeypatch).run(ANSWERS[name], tmp_path)
    wanted = capsys.readouterr()
    assert Runner(elsewhere, Kept(), monkeypatch).run(ANSWERS[name], tmp_path) == 0
    assert capsys.readouterr().out == wanted.out


@pytest.mark.parametrize("name", COMMANDS)
def test_whatever_fails_each_output_is_old_or_new(asked, monkeypatch, tmp_path, name) -> None:
    """The disk is full, a sync fails, a file cannot be replaced: at the first, second ... n-th such call, until there is none."""
    out, files, hits = tmp_path / "out", COMMANDS[name].files, []
    if name == "screen":  # twenty rasters that are written alike would only take longer than two
        monkeypatch.setattr(result_files, "raster_layers", lambda settings: RASTERS[-2:])
        files = {file for file in files if Path(file).stem in ("a", *RASTERS[-2:])}
    assert asked(name)[0] == 0
    new = state(out)
    assert new.keys() == files
    monkeypatch.setattr(locks, "_locked", lambda target: False)  # b"old" is no database that anybody holds
    for fail_at in range(1, 500):
        old, faults = lay_old(out, files), DiskFaults(fail_at)
        with monkeypatch.context() as patch:
            faults.wrap_disk(patch)
            status, said = asked(name, "--overwrite")
        found = state(out)
        assert found.keys() == files, (faults.hit, found.keys() ^ files)
        assert all(found[file] in (old[file], new[file]) for file in files), faults.hit
        if not faults.hit:
            break
        hits.append(faults.hit)
        if status == 0:
            assert (
                faults.hit == "fsync" and found == new
            )  # the folder could not be synced: the outputs are in their places
        else:
            assert status == 5 and any(found[file] == b"old" for file in files)
            assert_said(said)
            assert ("no room" in said) == (faults.hit == "write"), said
    assert not faults.hit and found == new and status == 0
    assert min(hits.count(what) for what in ("write", "fsync", "replace")) >= len(files)


@pytest.mark.parametrize("name", COMMANDS)
def test_an_output_of_which_another_run_has_hold(asked, tmp_path, name) -> None:
    out = tmp_path / "out"
    for file in one_by_one(name):
        target = out / file
        with locks.exclusive_lock(target.with_name(f"{_hidden(target)}.run-lock"), target):
            status, said = asked(name)
        assert status == 5 and "another run" in said and str(os.getpid()) in said
        assert_said(said)
        assert state(out) == {}


def _hidden(target: Path) -> str:
    from tunnelsite.io.write.staging import _hidden

    return _hidden(target)


@pytest.mark.parametrize("name", [name for name, command in COMMANDS.items() if "a.gpkg" in command.files])
def test_an_output_that_another_program_holds(asked, monkeypatch, tmp_path, name) -> None:
    monkeypatch.setattr(locks, "_PATIENCE_S", 0.1)
    path = tmp_path / "out" / "a.gpkg"
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as database:
        database.execute("CREATE TABLE t (a)")
        before = state(tmp_path / "out")  # not later: reading it here would end the lock
        database.execute("BEGIN EXCLUSIVE")
        status, said = asked(name, "--overwrite")
        assert status == 5 and "locked by another program" in said
        assert_said(said)
        assert state(tmp_path / "out") == before


@pytest.mark.parametrize("name", COMMANDS)
def test_an_output_that_is_there_or_may_not_be_replaced(asked, tmp_path, name) -> None:
    """Without --overwrite every single output is kept; one that is read-only is kept with it, too."""
    out = tmp_path / "out"
    for file in one_by_one(name):
        before = lay_old(out, [file])
        status, said = asked(name)
        assert status == 2 and "--overwrite" in said and state(out) == before
        assert_said(said)
        (out / file).chmod(0o444)
        status, said = asked(name, "--overwrite")
        assert status == 5 and "read-only" in said and state(out) == before
        assert_said(said)
        (out / file).unlink()


@pytest.mark.parametrize("name", COMMANDS)
def test_a_folder_that_is_none(asked, tmp_path, name) -> None:
    (tmp_path / "file").write_bytes(b"precious")
    status, said = asked(name, out=tmp_path / "file")
    assert status in (2, 5) and ("no folder" in said or "not a folder" in said or "cannot be made" in said), said
    assert_said(said)
    if name not in ("export", "screen"):  # these make the folder that they are told
        status, said = asked(name, out=tmp_path / "missing")
        assert status == 5 and "missing" in said
        assert_said(said)
    assert folder_state_of_files(tmp_path) == {"file": b"precious"} and not (tmp_path / "missing").exists()


def folder_state_of_files(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


@contextlib.contextmanager
def read_only(folder: Path):
    """A folder in which nothing can be made. Modes do not bind root: where the file system knows the flag `immutable` it is set."""
    if os.geteuid():
        folder.chmod(0o555)
        yield
        folder.chmod(0o755)
        return
    if shutil.which("chattr") is None or subprocess.run(["chattr", "+i", folder], capture_output=True).returncode:
        pytest.skip(
            "root, on a file system without the flag `immutable`; tests/io/write/test_staging.py gives up being root instead"
        )
    try:
        yield
    finally:
        subprocess.run(["chattr", "-i", folder], check=True)


@pytest.mark.skipif(os.name != "posix", reason="modes of POSIX")
@pytest.mark.parametrize("name", COMMANDS)
def test_a_read_only_folder(asked, tmp_path, name) -> None:
    out = tmp_path / "out"
    before = lay_old(out, COMMANDS[name].files)
    with read_only(out):
        status, said = asked(name, "--overwrite")
    assert status == 5 and "cannot be written to" in said
    assert_said(said)
    assert state(out) == before
