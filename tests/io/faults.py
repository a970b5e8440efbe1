"""Makes the n-th call of what touches the disk fail, to show that nothing half-written is ever left."""

from __future__ import annotations

import builtins
import errno
import io
import os
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pyogrio


class Faults:
    """Counts calls over all wrapped functions and raises at the n-th one.

    Attributes: fail_at, 1 = first call, 0 = never; calls, how many there were; hit, the name of the call that
    failed.
    """

    def __init__(self, fail_at: int, error: Callable[[], BaseException] | None = None) -> None:
        self.fail_at, self.calls, self.hit, self.error = fail_at, 0, "", error

    def count(self, name: str, default: Callable[[], BaseException]) -> None:
        """One call of `name`; raises if it is the one to fail."""
        self.calls += 1
        if self.calls == self.fail_at:
            self.hit = name
            raise (self.error or default)()

    def wrap(self, monkeypatch, owner, name: str) -> None:
        """Replaces `owner.name` by itself with a count in front."""
        original = getattr(owner, name)

        def counted(*arguments, **options):
            self.count(name, lambda: OSError(errno.EIO, os.strerror(errno.EIO)))
            return original(*arguments, **options)

        monkeypatch.setattr(owner, name, counted)

    def wrap_files(self, monkeypatch) -> None:
        """Wraps what opens, syncs, replaces, lists and describes files."""
        monkeypatch.setattr(
            os, "fsync", lambda handle: None
        )  # nothing here hangs on a power cut, and a sync takes long
        for owner, name in (
            (os, "replace"),
            (os, "fsync"),
            (os, "open"),
            (os, "scandir"),
            (os, "lstat"),
            (builtins, "open"),
            (io, "open"),
        ):
            self.wrap(monkeypatch, owner, name)

    def wrap_sqlite(self, monkeypatch) -> None:
        """Wraps connecting and every statement of Python's sqlite3."""
        faults, connect = self, sqlite3.connect

        def broken() -> sqlite3.Error:
            return sqlite3.OperationalError("disk I/O error")

        class Connection(sqlite3.Connection):
            def execute(self, *arguments):
                faults.count(f"execute {arguments[0][:30]}", broken)
                return super().execute(*arguments)

            def executemany(self, *arguments):
                faults.count("executemany", broken)
                return super().executemany(*arguments)

            def executescript(self, *arguments):
                faults.count("executescript", broken)
                return super().executescript(*arguments)

        def counted(*arguments, **options):
            faults.count("connect", broken)
            return connect(*arguments, **options, factory=Connection)

        monkeypatch.setattr(sqlite3, "connect", counted)


class DiskFaults(Faults):
    """Fails the n-th time that content goes to the disk (half of it is written, then the disk is full), is synced, or is put
    in its place."""

    def wrap_disk(self, monkeypatch) -> None:
        """Wraps writing whole files, GDAL's vector writer, fsync and replace."""
        faults, write_bytes, write = self, Path.write_bytes, pyogrio.raw.write

        def full() -> OSError:
            return OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

        def half_written(path: Path, data) -> int:
            try:
                faults.count("write", full)
            except OSError:
                write_bytes(path, bytes(data)[: len(data) // 2])
                raise
            return write_bytes(path, data)

        def half_a_layer(path, geometry, *arguments, **options):
            try:
                faults.count("write", lambda: pyogrio.errors.DataSourceError("database or disk is full"))
            except pyogrio.errors.DataSourceError:
                Path(f"{path}-journal").write_bytes(b"half")
                raise
            return write(path, geometry, *arguments, **options)

        monkeypatch.setattr(Path, "write_bytes", half_written)
        monkeypatch.setattr(pyogrio.raw, "write", half_a_layer)
        monkeypatch.setattr(os, "fsync", lambda handle: None)  # a sync takes long
        self.wrap(monkeypatch, os, "fsync")
        self.wrap(monkeypatch, os, "replace")


def folder_state(folder: Path) -> dict[str, bytes]:
    """Every file of a folder, hidden ones too, with its bytes."""
    return {
        entry.name: Path(entry.path).read_bytes() for entry in sorted(os.scandir(folder), key=lambda entry: entry.name)
    }
