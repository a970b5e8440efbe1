"""Two kinds of lock: between runs of this program (a locked file beside the output), and another program's
lock on a database."""

from __future__ import annotations

import contextlib
import os
import socket
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

from tunnelsite.core.ending import taken_away
from tunnelsite.core.errors import OutputFailed

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl

DATABASE_SUFFIXES = (".gpkg", ".sqlite", ".db")
_PATIENCE_S = 1.0  # how long a database may stay locked before it counts as locked
_LOCKED_STATUS = 3

# In a process of its own: copies of SQLite in one process (Python's, GDAL's) ignore each other's locks, and
# on POSIX closing any handle on a file drops every lock this process holds on it. `locking_mode=EXCLUSIVE`
# also finds readers of a database in WAL mode, and opening it at all rolls back or checkpoints what a crashed
# program left behind.
_PROBE = f"""
import sqlite3, sys
database = sqlite3.connect(sys.argv[1], timeout=float(sys.argv[2]), isolation_level=None)
try:
    database.execute("PRAGMA locking_mode=EXCLUSIVE")
    database.execute("BEGIN EXCLUSIVE")
    database.execute("ROLLBACK")
except sqlite3.DatabaseError as error:
    locked = error.sqlite_errorcode & 0xFF in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)
    sys.exit({_LOCKED_STATUS} if locked else 0)
database.close()
"""


@contextlib.contextmanager
def exclusive_lock(lock: Path, target: Path) -> Iterator[None]:
    """Holds the lock file `lock` for the output `target`; the system drops it with the process, so none is
    ever stale.

    Errors: OutputFailed at once if another run holds it, or if the file cannot be made.
    """
    try:
        handle = _acquired(lock, target)
    except OSError as error:
        raise OutputFailed(
            f"no lock file {lock} could be made ({error.strerror})",
            "a folder that can be written to",
            "choose another folder",
        ) from error
    try:
        with contextlib.suppress(OSError):  # only words for the message of another run
            os.ftruncate(handle, 0)
            os.write(handle, f"process {os.getpid()} on {socket.gethostname()}\n".encode())
        with taken_away(lambda: _unlink_own(handle, lock)):
            yield
    finally:
        with contextlib.suppress(OSError):
            os.unlink(lock)  # while still held, so that no run can lock a file about to vanish
        os.close(handle)
        if fcntl is None:
            with contextlib.suppress(OSError):
                os.unlink(lock)  # Windows does not remove an open file


def _acquired(lock: Path, target: Path) -> int:
    while True:
        handle = os.open(lock, os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0), 0o666)
        try:
            if not _try_lock(handle):
                holder = os.read(handle, 200).decode("utf-8", "replace").strip() or "unknown process"
                raise OutputFailed(
                    f"{target} is being written by another run ({holder})",
                    "one run at a time for each output",
                    "wait for the other run, or give this one another output",
                )
            if _is_at(handle, lock):
                return handle
        except FileNotFoundError:
            pass  # the holder removed it between our open and our lock: start again with a new file
        except BaseException:
            os.close(handle)
            raise
        os.close(handle)


def _is_at(handle: int, lock: Path) -> bool:
    there, ours = os.stat(lock), os.fstat(handle)
    return (there.st_dev, there.st_ino) == (ours.st_dev, ours.st_ino)


def _unlink_own(handle: int, lock: Path) -> None:
    if _is_at(handle, lock):  # else it was given up this very moment, and another run may have made its own
        os.unlink(lock)


def _try_lock(handle: int) -> bool:
    try:
        if sys.platform == "win32":
            os.lseek(handle, 1 << 20, os.SEEK_SET)  # far from the text, which others have to read
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
            os.lseek(handle, 0, os.SEEK_SET)
        else:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):
        return False
    return True


def refuse_locked_database(target: Path) -> None:
    """Refuses to replace a database that another program has open or left unfinished.

    Opening it also lets SQLite finish what a crashed program left behind: a leftover `-journal` or `-wal`
    would otherwise be applied to the new file and ruin it.

    Errors: OutputFailed naming the lock, within seconds.
    """
    if target.suffix.lower() not in DATABASE_SUFFIXES or not target.exists():
        return
    if _locked(target):
        raise OutputFailed(
            f"{target} is locked by another program (SQLite lock; it has the file open)",
            "an output that no other program has open",
            "close it there, or give this run another output",
        )
    for sibling in (Path(f"{target}-wal"), Path(f"{target}-journal")):
        if _unfinished(sibling):
            raise OutputFailed(
                f"another program left {sibling.name} beside {target}",
                "a database that was closed properly",
                "open and close it in that program, or give this run another output",
            )


def _locked(target: Path) -> bool:
    python = sys.executable or ""
    # inside another program (a desktop one, say) it is that program, not an interpreter
    if Path(python).stem.lower().startswith(("python", "pypy")):
        command = [python, "-I", "-S", "-c", _PROBE, str(target), str(_PATIENCE_S)]
        with contextlib.suppress(OSError, subprocess.TimeoutExpired):
            return subprocess.run(command, capture_output=True, timeout=_PATIENCE_S + 7).returncode == _LOCKED_STATUS
    database = sqlite3.connect(target, timeout=_PATIENCE_S, isolation_level=None)
    try:
        database.execute("BEGIN EXCLUSIVE")
        database.execute("ROLLBACK")
    except sqlite3.OperationalError as error:
        return "locked" in str(error)
    except sqlite3.DatabaseError:
        return False  # not a database: it cannot hold such a lock
    finally:
        database.close()
    return False


def _unfinished(sibling: Path) -> bool:
    try:
        with open(sibling, "rb") as file:
            return any(file.read(8))  # zero where a journal was finished but kept, or never got to matter
    except FileNotFoundError:
        return False
