"""Watches what is really done to the files of a folder, by Python or by a library in C: the kernel tells (inotify, Linux).

Flags and layout of the events: inotify(7) [@inotify].
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import struct
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

CAN_WATCH = sys.platform.startswith("linux")
WORDS = {
    0x2: "modified",
    0x8: "closed after writing",
    0x40: "moved away",
    0x80: "moved to",
    0x100: "made",
    0x200: "deleted",
}
_EVENT = struct.Struct("iIII")  # watch, mask, cookie, length of the name
_LOST = 0x4000


@contextlib.contextmanager
def watched(folders: Sequence[Path]) -> Iterator[dict[Path, list[str]]]:
    """{file: what was done to it, in order} of the files in folders that are there; filled when the block ends."""
    library = ctypes.CDLL(None, use_errno=True)
    handle = library.inotify_init1(os.O_NONBLOCK)
    assert handle >= 0, os.strerror(ctypes.get_errno())
    seen: dict[Path, list[str]] = {}
    try:
        places = {library.inotify_add_watch(handle, os.fsencode(folder), sum(WORDS)): folder for folder in folders}
        assert -1 not in places, os.strerror(ctypes.get_errno())
        yield seen
        for watch, mask, name in _events(handle):
            assert not mask & _LOST, "the kernel told less than there was"
            words = [word for flag, word in WORDS.items() if mask & flag]
            if words and watch in places:
                seen.setdefault(places[watch] / name, []).extend(words)
    finally:
        os.close(handle)


def _events(handle: int) -> Iterator[tuple[int, int, str]]:
    while True:
        try:
            data = os.read(handle, 1 << 20)
        except BlockingIOError:
            return
        at = 0
        while at < len(data):
            watch, mask, _, length = _EVENT.unpack_from(data, at)
            at += _EVENT.size + length
            yield watch, mask, os.fsdecode(data[at - length : at].rstrip(b"\0"))
