"""A file on a server, read in parts: a library reads it like a local one, and a part that is not whole is never handed on."""

from __future__ import annotations

import copy
import io
import re
from collections import OrderedDict
from typing import TYPE_CHECKING

import requests

from tunnelsite.core.errors import InputRefused
from tunnelsite.io.fetch.door import Door

BLOCK = 1 << 17  # bytes asked for at least
MOST_BLOCKS = 512
_RANGE = re.compile(r"bytes (\d+)-(\d+)/(\d+)")

if TYPE_CHECKING:
    from _typeshed import WriteableBuffer


class RangedFile(io.RawIOBase):
    """A read-only file over HTTP range requests (RFC 9110, 14).

    Arguments: door; address. Errors: InputRefused where the server gives no parts, or another part than was asked for, or
    the file changes while it is read.
    """

    def __init__(self, door: Door, address: str, found_in: str = "") -> None:
        super().__init__()
        self._door, self.address, self._at = door, address, 0
        door.check(address, found_in)
        self._blocks: OrderedDict[int, bytes] = OrderedDict()
        self._tag = ""
        self.failed: list[InputRefused] = []  # a library may swallow what is raised while it reads
        self.size = 0
        self.size = self._first()
        self._kept = door.kept.of(address, self._tag, self.size, BLOCK) if door.kept else None

    def again(self) -> RangedFile:
        """The same file once more, at its start, with what was fetched so far in common."""
        other = copy.copy(self)
        other._at = 0
        return other

    def forget(self) -> None:
        """Give back the memory of what was fetched; what is read again is fetched again."""
        self._blocks.clear()

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def tell(self) -> int:
        return self._at

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        """As of any file."""
        start = {io.SEEK_SET: 0, io.SEEK_CUR: self._at, io.SEEK_END: self.size}[whence]
        self._at = max(0, start + offset)
        return self._at

    def read(self, size: int = -1) -> bytes:
        """As of any file: fewer bytes only at the end."""
        last = self.size if size is None or size < 0 else min(self.size, self._at + size)
        if last <= self._at:
            return b""
        first, end = self._at // BLOCK, (last - 1) // BLOCK
        try:
            self._need(first, end)
        except InputRefused as problem:
            self.failed.append(problem)
            raise
        whole = b"".join(self._blocks[block] for block in range(first, end + 1))
        found = whole[self._at - first * BLOCK : last - first * BLOCK]
        self._at = last
        while len(self._blocks) > MOST_BLOCKS:
            self._blocks.popitem(last=False)
        return found

    def readinto(self, buffer: WriteableBuffer) -> int:
        view = memoryview(buffer).cast("B")
        found = self.read(len(view))
        view[: len(found)] = found
        return len(found)

    def _first(self) -> int:
        content, total = self._part(0, BLOCK - 1)
        self._blocks[0] = content
        return total

    def _need(self, first: int, end: int) -> None:
        """Fetch what is missing of these blocks, each run of missing ones in one request."""
        missing = []
        for block in range(first, end + 1):
            if block not in self._blocks:
                before = self._kept.get(block) if self._kept else None
                if before is None:
                    missing.append(block)
                else:
                    self._blocks[block] = before
        while missing:
            run = [missing.pop(0)]
            while missing and missing[0] == run[-1] + 1:
                run.append(missing.pop(0))
            start, stop = run[0] * BLOCK, min(self.size, (run[-1] + 1) * BLOCK) - 1
            content, _ = self._part(start, stop)
            for k, block in enumerate(run):
                self._blocks[block] = content[k * BLOCK : (k + 1) * BLOCK]
                if self._kept:
                    self._kept.put(block, self._blocks[block])

    def _part(self, start: int, stop: int) -> tuple[bytes, int]:
        """Bytes start..stop (or to the end of a shorter file) and the size of the file."""
        last = ""
        for _ in range(self._door.tries):
            with self._door.answer(
                self.address, {"Range": f"bytes={start}-{stop}", "Accept-Encoding": "identity"}
            ) as answer:
                place = _RANGE.fullmatch(answer.headers.get("content-range", ""))
                if answer.status_code != 206 or place is None:
                    raise self._refused("gives no parts of a file", "a server that answers range requests")
                total, wanted = int(place[3]), min(stop, int(place[3]) - 1)
                if (int(place[1]), int(place[2])) != (start, wanted) or (self.size and total != self.size):
                    raise self._refused("gave another part than was asked for", "the bytes asked for")
                tag = answer.headers.get("etag", "") or answer.headers.get("last-modified", "")
                if self._tag and tag != self._tag:
                    raise self._refused("has changed while it was read", "a file at rest")
                try:
                    content = b"".join(answer.iter_content(1 << 16))
                except requests.RequestException as problem:
                    last = type(problem).__name__
                    continue
            self._door.count(len(content), self.address)
            if len(content) == wanted - start + 1:
                self._tag = tag
                return content, total
            last = f"{len(content)} of {wanted - start + 1} bytes"
        raise self._refused(f"broke off ({last})", "whole parts")

    def _refused(self, what: str, expected: str) -> InputRefused:
        return InputRefused(
            f"{self.address[:200]!r} {what}",
            expected,
            "try again later: it goes on from what was fetched; or download the file and name the copy",
        )
