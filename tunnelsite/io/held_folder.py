"""Folders of ours among the temporary files, each held by a lock on itself for as long as its process lives.

A process that is killed outright takes nothing away, but the system drops its lock: the next command tells by that whose folder is left,
in whatever container its process was, and takes it away. Windows has no lock on a folder, but removes no file that a process has open:
there a folder is held by such a file in it.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import sys
import tempfile
from collections.abc import Iterable, Iterator
from pathlib import Path

from tunnelsite.core.ending import taken_away

if sys.platform != "win32":
    import fcntl

PREFIX = "tunnelsite-run-"
HELD = ".held"  # the file by which a folder is held on Windows


class HeldFolder:
    """A new folder for this user only, below the one for temporary files or below `place`.

    Arguments: kind, a word of its name; place. Attributes: path. Errors: OSError where it cannot be made.
    """

    def __init__(self, kind: str, place: str | None = None) -> None:
        self._lock: int | None = None
        while True:
            self.path = Path(tempfile.mkdtemp(prefix=f"{PREFIX}{kind}-", dir=place))
            # a command may take it for one that was left before it is locked: make another
            with contextlib.suppress(FileNotFoundError, BlockingIOError):
                self._lock = _lock(self.path)
                return

    @contextlib.contextmanager
    def until_done(self) -> Iterator[Path]:
        """Its path; it goes with the block, or with the run where that is ended within it."""
        with taken_away(self.remove):
            try:
                yield self.path
            finally:
                self.remove()

    def remove(self) -> None:
        """Take it away with what is in it; no link is followed. May be called again."""
        if sys.platform == "win32":
            self._let_go()
        shutil.rmtree(self.path, ignore_errors=True)
        self._let_go()

    def _let_go(self) -> None:
        lock, self._lock = self._lock, None
        if lock is not None:
            os.close(lock)


def take_away_left(places: Iterable[str]) -> None:
    """Take away what killed processes of this user left. Arguments: places, folders to look in; one that cannot be read is passed over."""
    for place in places:
        with contextlib.suppress(OSError), os.scandir(place) as entries:
            for entry in entries:
                if entry.name.startswith(PREFIX) and entry.is_dir(follow_symlinks=False):
                    _take_away(Path(entry.path))


def _take_away(folder: Path) -> None:
    with contextlib.suppress(OSError):  # gone or held
        if sys.platform == "win32":
            os.remove(folder / HELD)  # not there where the folder is being made
            shutil.rmtree(folder, ignore_errors=True)
            return
        if folder.lstat().st_uid != os.geteuid():
            return
        lock = _lock(folder)
        if lock is not None:
            shutil.rmtree(folder, ignore_errors=True)
            os.close(lock)


def _lock(folder: Path) -> int | None:
    """A handle that holds the folder; None where folders cannot be locked.

    Errors: FileNotFoundError where it is gone; BlockingIOError where another process holds it.
    """
    if sys.platform == "win32":
        return os.open(folder / HELD, os.O_CREAT | os.O_EXCL | os.O_RDWR)
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        os.stat(folder)  # the command that held it a moment ago may have removed it
    except OSError as problem:
        os.close(handle)
        if isinstance(problem, (FileNotFoundError, BlockingIOError)):
            raise
        return None
    return handle
