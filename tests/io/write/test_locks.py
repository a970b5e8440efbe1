"""An output that another program holds is refused in time; leftovers never mix with a new file."""

from __future__ import annotations

import contextlib
import os
import signal
import sqlite3
import time
from pathlib import Path

import pytest

from tests.io.faults import folder_state
from tests.io.other_program import other_program
from tunnelsite.core.errors import OutputFailed
from tunnelsite.io.write import locks
from tunnelsite.io.write.staging import check_output_path, staged, write_whole

needs_posix = pytest.mark.skipif(os.name != "posix", reason="signals and file modes of POSIX")


@pytest.fixture
def impatient(monkeypatch):
    """Does not wait for a lock that the test knows will stay."""
    monkeypatch.setattr(locks, "_PATIENCE_S", 0.1)


# --- output-05: locked by another program

LOCKER = """
    import sqlite3, sys
    database = sqlite3.connect(sys.argv[1], isolation_level=None)
    for statement in sys.argv[2:]:
        database.execute(statement).fetchall()
    print("ready", flush=True)
    sys.stdin.read()
"""


def make_database(path: Path, mode: str = "DELETE") -> None:
    with contextlib.closing(sqlite3.connect(path)) as database:
        database.execute(f"PRAGMA journal_mode={mode}")
        database.execute("CREATE TABLE t (a)")
        database.execute("INSERT INTO t VALUES (1)")
        database.commit()


@pytest.mark.parametrize(
    ("mode", "statements"),
    [
        ("DELETE", ["BEGIN EXCLUSIVE"]),
        ("DELETE", ["BEGIN IMMEDIATE", "INSERT INTO t VALUES (2)"]),
        ("DELETE", ["BEGIN", "SELECT * FROM t"]),
        ("WAL", ["BEGIN IMMEDIATE", "INSERT INTO t VALUES (2)"]),
        ("WAL", ["SELECT * FROM t"]),  # merely open, as a desktop program keeps it
    ],
)
def test_output_05_a_locked_database_is_refused_in_time(tmp_path, mode, statements):
    target = tmp_path / "sites.gpkg"
    make_database(target, mode)
    with other_program(LOCKER, target, *statements):
        before = folder_state(tmp_path)
        started = time.monotonic()
        with pytest.raises(OutputFailed, match=r"locked by another program.*SQLite lock") as caught:
            check_output_path(target, overwrite=True)
        assert time.monotonic() - started < 10 and caught.value.exit_status == 5
        assert folder_state(tmp_path) == before
    write_whole(target, b"new", overwrite=True)  # the other program is gone


def test_output_05_a_lock_that_comes_while_computing_is_found_before_replacing(tmp_path, impatient):
    target = tmp_path / "sites.gpkg"
    make_database(target)
    old = target.read_bytes()
    with contextlib.ExitStack() as stack:
        with pytest.raises(OutputFailed, match="locked"), staged(target, overwrite=True) as temp:
            temp.write_bytes(b"new")
            stack.enter_context(other_program(LOCKER, target, "BEGIN EXCLUSIVE"))
        assert folder_state(tmp_path) == {"sites.gpkg": old}


def test_output_05_a_lock_of_this_very_process_is_found_and_survives_the_check(tmp_path, impatient):
    """Copies of SQLite in one process ignore each other's locks, and closing a handle would drop them:
    hence a process of its own."""
    target = tmp_path / "sites.gpkg"
    make_database(target)
    with contextlib.closing(sqlite3.connect(target, isolation_level=None)) as database:
        database.execute("BEGIN EXCLUSIVE")
        with pytest.raises(OutputFailed, match="locked"):
            check_output_path(target, overwrite=True)
        with pytest.raises(OutputFailed, match="locked"):  # still held, so the first check did not break it
            check_output_path(target, overwrite=True)
        database.execute("INSERT INTO t VALUES (3)")
        database.execute("COMMIT")
    check_output_path(target, overwrite=True)


@needs_posix
def test_output_05_what_a_crashed_program_left_is_finished_and_never_applied_to_the_new_file(tmp_path):
    for mode in ("DELETE", "WAL"):
        target = tmp_path / f"{mode}.gpkg"
        make_database(target, mode)
        statements = [
            "PRAGMA cache_size=1",
            "BEGIN",
            "INSERT INTO t SELECT zeroblob(50000) FROM t",
            "UPDATE t SET a = zeroblob(60000)",
        ]
        with other_program(LOCKER, target, *statements) as process:
            process.send_signal(signal.SIGKILL)
            process.wait()
        assert len(list(tmp_path.glob(f"{mode}.gpkg?*"))) >= 1  # a hot journal, or a write-ahead log
        new = tmp_path / "new.gpkg"
        make_database(new)
        write_whole(target, new.read_bytes(), overwrite=True)
        new.unlink()
        assert list(tmp_path.glob(f"{mode}.gpkg?*")) == []
        with contextlib.closing(sqlite3.connect(target)) as database:
            assert database.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
            assert database.execute("SELECT * FROM t").fetchall() == [(1,)]


def test_output_05_the_check_also_works_without_an_interpreter_to_start(tmp_path, monkeypatch, impatient):
    target = tmp_path / "sites.gpkg"
    make_database(target)
    with other_program(LOCKER, target, "BEGIN EXCLUSIVE"):
        monkeypatch.setattr(locks.sys, "executable", "/opt/some-host-program")
        with pytest.raises(OutputFailed, match="locked"):
            check_output_path(target, overwrite=True)
    check_output_path(target, overwrite=True)
    (tmp_path / "no_database.gpkg").write_bytes(b"just some bytes" * 100)
    check_output_path(tmp_path / "no_database.gpkg", overwrite=True)
