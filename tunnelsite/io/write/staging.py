"""Every output is written beside its place, verified, and only then put there: what was there before stays
whole until then."""

from __future__ import annotations

import contextlib
import errno
import os
import re
import shutil
import sqlite3
import stat
import tempfile
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path

from tunnelsite.core.ending import stop_if_told_to, taken_away
from tunnelsite.core.errors import OutputFailed
from tunnelsite.io.plain_names import plain_folder, plain_word, without_link
from tunnelsite.io.write.locks import DATABASE_SUFFIXES, exclusive_lock, refuse_locked_database

_FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
_FULL_WORDS = re.compile(
    r"no space left|disk is full|disk full|file too large|quota exceeded|not enough space", re.IGNORECASE
)
# Drivers often say only "write failed"; with less than this left the reason is plain.
_PRACTICALLY_FULL = 64 * 1024
_SIDECARS = (".aux.xml", ".ovr", ".msk", ".msk.ovr")  # derived from the old file and wrong beside the new one
_DATABASE_SIDECARS = ("-journal", "-wal", "-shm")


class OutputExists(OutputFailed):
    """The output is there already and overwriting was not asked for: a wrong setting rather than a failure."""

    exit_status = 2


def check_output_path(path: str | os.PathLike[str], *, overwrite: bool) -> Path:
    """Refuses, before anything is computed, an output that could not be written.

    Arguments: path; overwrite, whether a file that is there may be replaced.
    Returns: the path with symbolic links resolved (a link stays, the file it points at is replaced).
    Errors: OutputFailed if the folder is missing, no folder or not writable, or if the target is a folder, no
    plain file or locked by another program; OutputExists (exit status 2) if it exists and may not be
    overwritten.
    """
    try:
        target = Path(os.path.realpath(path))
        _check_folder(target)
        with plain_folder(target.parent):  # whether there is a way that no writer can misread
            pass
        mode = os.lstat(target).st_mode
        if not stat.S_ISREG(mode):
            found = "a folder" if stat.S_ISDIR(mode) else "not a plain file"
            raise OutputFailed(f"{path!s} is {found}", "the path of a file", "add a file name, or choose another path")
        _check_target(target, overwrite, mode)
    except FileNotFoundError:
        pass
    except (OSError, ValueError) as error:  # ValueError: a null byte in the name
        reason = getattr(error, "strerror", None) or error
        raise OutputFailed(
            f"{path!s} cannot be an output ({reason})", "the path of a file", "choose another path"
        ) from error
    return target


def _check_folder(target: Path) -> None:
    folder, choose = target.parent, "choose another folder"
    if not folder.exists():
        raise OutputFailed(
            f"folder {folder} is missing", "an existing folder for the output", f"create it, or {choose}"
        )
    if not folder.is_dir():
        raise OutputFailed(f"{folder} is not a folder", "an existing folder for the output", choose)
    try:
        # trying is the only test that holds for root, quotas and network folders
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError as error:
        if _is_full(error):
            raise OutputFailed(
                f"the disk of {folder} is full (0 bytes free)",
                "room for the output",
                f"make room, or {choose}",
            ) from error
        raise OutputFailed(
            f"folder {folder} cannot be written to ({error.strerror})", "a writable folder", choose
        ) from error


def _check_target(target: Path, overwrite: bool, mode: int) -> None:
    if not overwrite:
        raise OutputExists(
            f"{target} exists already", "a new file", "add --overwrite to replace it, or choose another name"
        )
    if not mode & 0o222:
        raise OutputFailed(
            f"{target} is read-only",
            "an output that may be replaced",
            "make it writable, or choose another name",
        )
    refuse_locked_database(target)


@contextlib.contextmanager
def reserved(path: str | os.PathLike[str], *, overwrite: bool) -> Iterator[Path]:
    """Checks an output and keeps every other run off it for the length of a run; writing itself goes through
    `staged`.

    Yields the resolved path. Errors: as `check_output_path`; OutputFailed at once if another run holds the
    output.
    """
    target = check_output_path(path, overwrite=overwrite)
    with exclusive_lock(target.with_name(f"{_hidden(target)}.run-lock"), target):
        yield target


@contextlib.contextmanager
def staged(
    path: str | os.PathLike[str],
    *,
    overwrite: bool,
    need_bytes: int = 0,
    verify: Callable[[Path], None] | None = None,
    driver_errors: tuple[type[Exception], ...] = (),
) -> Iterator[Path]:
    """Gives a path to write to; if all goes well the file takes the place of `path`, else nothing has
    changed.

    Arguments: path; overwrite, as in `check_output_path`; need_bytes [bytes] that will be written at most, 0
    if unknown; verify, called with the finished temporary file, raises if it is not whole; driver_errors,
    what else counts as a failed write.
    Yields: a path that leads to the same folder, with the same suffix; there is no sign in it that a library could parse.
    Errors: OutputFailed (with need and free space where the disk is full); anything else raised inside comes
    out as it is.
    """
    target = check_output_path(path, overwrite=overwrite)
    lock = target.with_name(f"{_hidden(target)}.write-lock")
    failures: tuple[type[Exception], ...] = (OSError, sqlite3.Error, *driver_errors)
    with exclusive_lock(lock, target), taken_away(lambda: _remove_partial(target)):
        try:
            _remove_partial(target)  # left by a killed run: holding the lock, we know that no other run writes it
            _check_space(target, need_bytes)
            with plain_folder(target.parent) as folder:
                temp = folder / temp_path(target).name
                yield temp
                if verify is not None:
                    verify(temp)
                _put_in_place(temp, target, overwrite)
        except failures as error:
            failure = _explained(error, target, need_bytes)  # measured while the temporary file is there
            with contextlib.suppress(OSError):
                _remove_partial(target)
            raise failure from error
        except BaseException:
            with contextlib.suppress(OSError):
                _remove_partial(target)
            raise


def write_whole(path: str | os.PathLike[str], content: str | bytes, *, overwrite: bool) -> None:
    """Writes a small file (page, style, table) whole or not at all. Text is written as UTF-8. Errors: as
    `staged`."""
    data = content.encode("utf-8") if isinstance(content, str) else content

    def verify(temp: Path) -> None:
        if temp.read_bytes() != data:
            raise OSError("what was read back differs from what was written")

    with staged(path, overwrite=overwrite, need_bytes=len(data), verify=verify) as temp:
        temp.write_bytes(data)


def temp_path(target: Path) -> Path:
    """The hidden temporary file that belongs to `target`: always the same one, so that the next run can
    clear it away."""
    return target.with_name(f"{_hidden(target)}.partial{plain_word(target.suffix[:10])}")


def _hidden(target: Path) -> str:
    name = os.fsencode(target.name)
    return f".{plain_word(target.name[:40])}-{zlib.crc32(name):08x}"  # short enough for any folder, yet one of a kind


def _put_in_place(temp: Path, target: Path, overwrite: bool) -> None:
    left = [entry.name for entry in _partial_files(target) if entry.name != temp.name]
    if left:
        raise OSError(f"the writer left {', '.join(sorted(left))} behind")
    handle = os.open(temp, os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
    if os.path.lexists(target):  # hours may have gone by since the first check
        _check_target(target, overwrite, target.stat().st_mode)
        shutil.copymode(target, temp)
    stop_if_told_to()  # what was computed since then may lack something
    os.replace(temp, target)
    _sync_folder(target.parent)
    database = target.suffix.lower() in DATABASE_SUFFIXES
    for ending in _SIDECARS + (_DATABASE_SIDECARS if database else ()):
        with contextlib.suppress(OSError):
            os.unlink(f"{target}{ending}")


def _sync_folder(folder: Path) -> None:
    # The output is in its place, whole and verified; a file system that cannot sync folders is no reason to
    # call it failed.
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _partial_files(target: Path) -> list[os.DirEntry[str]]:
    # the file itself and what a driver keeps beside it: -journal, .aux.xml, .ovr.tmp
    prefix = f"{_hidden(target)}.partial"
    with os.scandir(target.parent) as entries:
        return [entry for entry in entries if entry.name.startswith(prefix)]


def _remove_partial(target: Path) -> None:
    for entry in _partial_files(target):
        os.unlink(entry.path)


def _check_space(target: Path, need_bytes: int) -> None:
    free = shutil.disk_usage(target.parent).free
    if free < need_bytes:
        raise _no_room(target, f"{size_words(need_bytes)} needed", free)


def _no_room(target: Path, need: str, free: int) -> OutputFailed:
    return OutputFailed(
        f"no room for {target}: {need}, {size_words(free)} free",
        "enough free space in the output's folder",
        "make room, or choose a folder on another disk",
    )


def _explained(error: Exception, target: Path, need_bytes: int) -> OutputFailed:
    free, written = 0, 0
    with contextlib.suppress(OSError):
        free = shutil.disk_usage(target.parent).free
        written = sum(entry.stat().st_size for entry in _partial_files(target))
    if _is_full(error) or free < _PRACTICALLY_FULL or free + written < need_bytes:
        need = (
            f"{size_words(need_bytes)} needed"
            if need_bytes > written
            else f"more than the {size_words(written)} written so far needed"
        )
        return _no_room(target, need, free)
    words = getattr(error, "strerror", None) or without_link(str(error)) or type(error).__name__
    return OutputFailed(
        f"{target} could not be written ({words})",
        "an output written whole",
        "see the reason; what was there before is untouched",
    )


def _is_full(error: BaseException) -> bool:
    code = getattr(error, "sqlite_errorcode", None)
    if getattr(error, "errno", None) in _FULL or code == sqlite3.SQLITE_FULL or _FULL_WORDS.search(str(error)):
        return True
    return error.__cause__ is not None and _is_full(error.__cause__)


def size_words(count: float) -> str:
    """A number of bytes in words, such as `12 bytes`, `3.4 kB` or `1.2 GB` (powers of 1000)."""
    if count < 1000:
        return f"{count:.0f} bytes"
    for unit in ("kB", "MB", "GB"):
        count /= 1000
        if count < 1000:
            return f"{count:.1f} {unit}"
    return f"{count / 1000:.1f} TB"
