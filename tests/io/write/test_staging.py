"""Outputs are written beside their place, verified, then put there; names from data are safe. Rows
`output-..` of the bad-input plan."""

from __future__ import annotations

import contextlib
import errno
import os
import signal
import sqlite3
import tempfile
import time
from pathlib import Path

import pytest

from tests.io.faults import Faults, folder_state
from tests.io.other_program import other_program
from tunnelsite.core.errors import OutputFailed, TunnelsiteError
from tunnelsite.io.write import staging
from tunnelsite.io.write.staging import OutputExists, check_output_path, reserved, staged, temp_path, write_whole

needs_posix = pytest.mark.skipif(os.name != "posix", reason="signals and file modes of POSIX")


# --- the ordinary way


def test_a_new_file_appears_whole_and_alone(tmp_path):
    with staged(tmp_path / "a.bin", overwrite=False) as temp:
        temp.write_bytes(b"new")
        assert temp.parent.samefile(tmp_path) and temp.name.startswith(".") and temp.suffix == ".bin"
        assert not (tmp_path / "a.bin").exists()
    assert folder_state(tmp_path) == {"a.bin": b"new"}


def test_overwriting_keeps_the_mode_and_removes_stale_sidecars(tmp_path):
    target = tmp_path / "a.tif"
    target.write_bytes(b"old")
    target.chmod(0o640)
    for ending in (".aux.xml", ".ovr", ".msk"):
        (tmp_path / f"a.tif{ending}").write_bytes(b"derived from the old file")
    (tmp_path / "a.tif.txt").write_bytes(b"someone's notes")
    write_whole(target, b"new", overwrite=True)
    assert folder_state(tmp_path) == {"a.tif": b"new", "a.tif.txt": b"someone's notes"}
    assert target.stat().st_mode & 0o777 == 0o640


def test_a_symbolic_link_stays_and_its_file_is_replaced(tmp_path):
    (tmp_path / "real").mkdir()
    (tmp_path / "real" / "a.txt").write_text("old")
    (tmp_path / "a.txt").symlink_to(tmp_path / "real" / "a.txt")
    write_whole(tmp_path / "a.txt", "new", overwrite=True)
    assert (tmp_path / "a.txt").is_symlink() and (tmp_path / "real" / "a.txt").read_text() == "new"


def test_a_planted_link_at_the_temporary_name_is_not_followed(tmp_path):
    victim = tmp_path / "victim"
    victim.write_bytes(b"precious")
    temp_path(tmp_path / "a.txt").symlink_to(victim)
    write_whole(tmp_path / "a.txt", "new", overwrite=False)
    assert victim.read_bytes() == b"precious" and (tmp_path / "a.txt").read_text() == "new"


@pytest.mark.parametrize(
    "name",
    ["a", ".a", "a.b.gpkg", "é" * 100 + ".gpkg", "x" * 250, "a b#c?d%20.gpkg", ".partial", "a.partial"],
)
def test_any_name_that_the_folder_takes(tmp_path, name):
    for content in ("one", "two"):
        write_whole(tmp_path / name, content, overwrite=True)
        assert folder_state(tmp_path) == {name: content.encode()}


# --- failures inside


@pytest.mark.parametrize("error", [KeyboardInterrupt, SystemExit, ZeroDivisionError, MemoryError])
def test_anything_raised_inside_comes_out_and_leaves_the_old_output(tmp_path, error):
    (tmp_path / "a.gpkg").write_bytes(b"old")
    with pytest.raises(error), staged(tmp_path / "a.gpkg", overwrite=True) as temp:
        temp.write_bytes(b"half")
        Path(f"{temp}-journal").write_bytes(b"x")
        Path(f"{temp}-wal").write_bytes(b"x")
        Path(f"{temp}.aux.xml").write_bytes(b"x")
        raise error
    assert folder_state(tmp_path) == {"a.gpkg": b"old"}


def test_a_failed_verification_leaves_the_old_output(tmp_path):
    (tmp_path / "a").write_bytes(b"old")

    def verify(temp):
        raise OSError("tile 3 differs")

    with (
        pytest.raises(OutputFailed, match="tile 3 differs"),
        staged(tmp_path / "a", overwrite=True, verify=verify) as temp,
    ):
        temp.write_bytes(b"new")
    assert folder_state(tmp_path) == {"a": b"old"}


def test_a_writer_that_leaves_a_journal_or_nothing_has_failed(tmp_path):
    with pytest.raises(OutputFailed, match="-journal"), staged(tmp_path / "a", overwrite=True) as temp:
        temp.write_bytes(b"new")
        Path(f"{temp}-journal").write_bytes(b"x")
    with pytest.raises(OutputFailed), staged(tmp_path / "a", overwrite=True):
        pass
    assert folder_state(tmp_path) == {}


@pytest.mark.parametrize("old", [None, b"old"])
def test_every_system_call_in_turn_fails(tmp_path, monkeypatch, old):
    """Old or new, whole, and nothing else in the folder, whichever call of open, fsync, replace ... fails."""
    target, hits = tmp_path / "a.bin", set()
    for fail_at in range(1, 100):
        target.unlink(missing_ok=True)
        if old is not None:
            target.write_bytes(old)
        faults = Faults(fail_at)
        with monkeypatch.context() as patch:
            faults.wrap_files(patch)
            try:
                write_whole(target, b"new", overwrite=True)
                failed = False
            except OutputFailed:
                failed = True
        assert folder_state(tmp_path) == ({} if failed and old is None else {"a.bin": old if failed else b"new"}), (
            faults.hit
        )
        hits.add(faults.hit)
        if not faults.hit:
            break
    assert not faults.hit and hits >= {"replace", "fsync", "open", "scandir"} and fail_at > 8


def test_an_interrupt_at_every_call_in_turn(tmp_path, monkeypatch):
    target = tmp_path / "a.bin"
    for fail_at in range(1, 100):
        target.write_bytes(b"old")
        faults = Faults(fail_at, KeyboardInterrupt)
        with monkeypatch.context() as patch:
            faults.wrap_files(patch)
            with contextlib.suppress(KeyboardInterrupt):
                write_whole(target, b"new", overwrite=True)
        state = folder_state(tmp_path)
        assert state in ({"a.bin": b"old"}, {"a.bin": b"new"}), (faults.hit, list(state))
        if not faults.hit:
            return
    raise AssertionError("never got through")


# --- output-01: disk full


def test_output_01_too_little_room_is_said_before_writing(tmp_path):
    (tmp_path / "a").write_bytes(b"old")
    with (
        pytest.raises(OutputFailed, match=r"1000\.0 TB needed, .* free") as caught,
        staged(tmp_path / "a", overwrite=True, need_bytes=10**15),
    ):
        raise AssertionError("must not get here")
    assert caught.value.exit_status == 5 and folder_state(tmp_path) == {"a": b"old"}


@pytest.mark.parametrize(
    "error",
    [
        OSError(errno.ENOSPC, "No space left on device"),
        OSError(errno.EDQUOT, "Disk quota exceeded"),
        sqlite3.OperationalError("database or disk is full"),
        RuntimeError("failed to execute insert : database or disk is full"),
    ],
)
def test_output_01_a_full_disk_noticed_late_says_need_and_free(tmp_path, error):
    (tmp_path / "a").write_bytes(b"old")
    with (
        pytest.raises(OutputFailed, match=r"no room for .*more than the 4\.0 kB written so far needed, .* free"),
        staged(tmp_path / "a", overwrite=True, driver_errors=(RuntimeError,)) as temp,
    ):
        temp.write_bytes(bytes(4000))
        raise error
    assert folder_state(tmp_path) == {"a": b"old"}


# --- output-03: killed


@needs_posix
def test_output_03_the_temporary_file_of_a_killed_run_is_cleared_by_the_next(tmp_path):
    code = """
        import sys
        from tunnelsite.io.write.staging import staged
        with staged(sys.argv[1], overwrite=True) as temp:
            temp.write_bytes(b"half")
            open(f"{temp}-journal", "wb").close()
            print("ready", flush=True)
            sys.stdin.read()
    """
    (tmp_path / "a.gpkg").write_bytes(b"old")
    with other_program(code, tmp_path / "a.gpkg") as process:
        process.send_signal(signal.SIGKILL)
        process.wait()
    assert (
        len(folder_state(tmp_path)) == 4 and (tmp_path / "a.gpkg").read_bytes() == b"old"
    )  # lock, temporary file and its journal
    write_whole(tmp_path / "a.gpkg", b"new", overwrite=True)
    assert folder_state(tmp_path) == {"a.gpkg": b"new"}


# --- output-07: exists already


def test_output_07_an_existing_output_needs_the_flag(tmp_path):
    (tmp_path / "a").write_bytes(b"old")
    with pytest.raises(OutputExists, match=r"exists already.*--overwrite") as caught:
        check_output_path(tmp_path / "a", overwrite=False)
    assert caught.value.exit_status == 2 and isinstance(caught.value, OutputFailed)
    with pytest.raises(OutputExists):
        write_whole(tmp_path / "a", "new", overwrite=False)
    assert folder_state(tmp_path) == {"a": b"old"}


def test_output_07_an_output_that_appears_while_computing_is_not_overwritten(tmp_path):
    with pytest.raises(OutputExists), staged(tmp_path / "a", overwrite=False) as temp:
        temp.write_bytes(b"new")
        (tmp_path / "a").write_bytes(b"someone else's")
    assert folder_state(tmp_path) == {"a": b"someone else's"}


# --- output-09: the place


def test_output_09_places_that_cannot_be_written(tmp_path):
    (tmp_path / "file").write_bytes(b"x")
    (tmp_path / "folder").mkdir()
    (tmp_path / "loop").symlink_to(tmp_path / "loop")
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "locked").write_bytes(b"x")
    (tmp_path / "locked").chmod(0o444)
    before = sorted(os.listdir(tmp_path))
    for path, words in (
        (tmp_path / "missing" / "a.gpkg", "folder .*missing is missing.*create it"),
        (tmp_path / "file" / "a.gpkg", "file is not a folder"),
        (tmp_path / "folder", "is a folder.*add a file name"),
        ("", "is a folder"),
        (tmp_path / "pipe", "not a plain file"),
        ("/dev/null", "not a plain file"),
        (tmp_path / "loop", "not a plain file|symbolic links"),
        (tmp_path / "locked", "read-only"),
        (tmp_path / ("x" * 300), "too long"),
        ("a\0b", "null byte"),
    ):
        with pytest.raises(OutputFailed, match=words) as caught:
            check_output_path(path, overwrite=True)
        assert caught.value.exit_status == 5
    assert sorted(os.listdir(tmp_path)) == before


@needs_posix
def test_output_09_a_read_only_folder_is_refused_before_computing():
    with tempfile.TemporaryDirectory() as name:  # not tmp_path: others cannot enter pytest's folders
        folder = Path(name)
        (folder / "a").write_bytes(b"old")
        folder.chmod(0o555)
        root = os.geteuid() == 0
        try:
            if root:
                os.seteuid(65534)  # modes do not bind root
            with pytest.raises(OutputFailed, match="cannot be written to"):
                check_output_path(folder / "a", overwrite=True)
            with (
                pytest.raises(OutputFailed, match="cannot be written to"),
                staged(folder / "b", overwrite=True),
            ):
                raise AssertionError("must not get here")
        finally:
            if root:
                os.seteuid(0)
            folder.chmod(0o755)
        assert folder_state(folder) == {"a": b"old"}


def test_the_check_leaves_no_trace(tmp_path):
    assert check_output_path(tmp_path / "a.gpkg", overwrite=False) == tmp_path / "a.gpkg"
    assert folder_state(tmp_path) == {}


# --- output-15: two runs

HOLDER = """
    import sys
    from tunnelsite.io.write.staging import {how}
    with {how}(sys.argv[1], overwrite=True) as place:
        print("ready", flush=True)
        sys.stdin.read(1)
        if "{how}" == "staged":
            place.write_bytes(b"first")
    print("done", flush=True)
"""


@pytest.mark.parametrize("how", ["staged", "reserved"])
def test_output_15_a_second_run_is_refused_at_once(tmp_path, how):
    target = tmp_path / "a.gpkg"
    second = {"staged": staged, "reserved": reserved}[how]
    with other_program(HOLDER.format(how=how), target) as process:
        started = time.monotonic()
        with (
            pytest.raises(OutputFailed, match=rf"another run .process {process.pid} on"),
            second(target, overwrite=True),
        ):
            raise AssertionError("must not get here")
        assert time.monotonic() - started < 2
        process.stdin.write("x")
        process.stdin.flush()
        assert process.stdout.readline() == "done\n"
    assert folder_state(tmp_path) == ({"a.gpkg": b"first"} if how == "staged" else {})
    write_whole(target, "second", overwrite=True)
    assert folder_state(tmp_path) == {"a.gpkg": b"second"}


@needs_posix
def test_output_15_the_lock_of_a_dead_run_does_not_bind(tmp_path):
    target = tmp_path / "a.gpkg"
    with other_program(HOLDER.format(how="reserved"), target) as process:
        process.send_signal(signal.SIGKILL)
        process.wait()
    assert len(folder_state(tmp_path)) == 1  # its lock file
    with reserved(target, overwrite=False):
        write_whole(target, "new", overwrite=False)  # writing under one's own reservation works
    assert folder_state(tmp_path) == {"a.gpkg": b"new"}


def test_output_15_many_runs_at_once_never_mix(tmp_path):
    """Eight processes write the same output as fast as they can: each file seen is whole, each refusal is
    a lock, none is left behind."""
    code = """
        import sys
        from tunnelsite.core.errors import OutputFailed
        from tunnelsite.io.write.staging import write_whole
        print("ready", flush=True)
        sys.stdin.read(1)
        written = 0
        for _ in range(60):
            try:
                write_whole(sys.argv[1], sys.argv[2] * 20000, overwrite=True)
                written += 1
            except OutputFailed as error:
                assert "another run" in str(error), error
        print(written, flush=True)
    """
    target = tmp_path / "a.txt"
    with contextlib.ExitStack() as stack:
        processes = [stack.enter_context(other_program(code, target, letter)) for letter in "abcd"]
        for process in processes:
            process.stdin.write("x")
            process.stdin.flush()
        counts = [int(process.stdout.readline()) for process in processes]
    assert sum(counts) > 0
    state = folder_state(tmp_path)
    assert list(state) == ["a.txt"] and state["a.txt"] in [letter.encode() * 20000 for letter in "abcd"]


def test_two_outputs_in_one_folder_do_not_hinder_each_other(tmp_path):
    long = "x" * 60
    with (
        staged(tmp_path / f"{long}1.txt", overwrite=True) as one,
        staged(tmp_path / f"{long}2.txt", overwrite=True) as two,
    ):
        one.write_bytes(b"1")
        two.write_bytes(b"2")
    assert folder_state(tmp_path) == {f"{long}1.txt": b"1", f"{long}2.txt": b"2"}


def test_errors_are_of_the_kind_users_can_read(tmp_path):
    with pytest.raises(TunnelsiteError) as caught:
        check_output_path(tmp_path / "no" / "a", overwrite=False)
    assert caught.value.given and caught.value.expected and caught.value.fix


def test_size_words():
    assert [staging.size_words(count) for count in (0, 999, 1000, 2_500_000, 3.2e9, 10**15)] == [
        "0 bytes", "999 bytes", "1.0 kB", "2.5 MB", "3.2 GB", "1000.0 TB",
    ]  # fmt: skip
