"""Parts of files as they were fetched, kept until everything asked for is whole: a request that ended early goes on from there."""

from __future__ import annotations

import contextlib
import hashlib
import shutil
from dataclasses import dataclass
from pathlib import Path

_DIGEST = 16  # bytes, before those of each block


@dataclass(frozen=True)
class KeptFile:
    """Blocks of one file, each with its digest at its own place in `path`. One whose bytes are not those that were kept (a power
    cut, a full disk, a gap) is not there."""

    path: Path
    block: int

    def get(self, number: int) -> bytes | None:
        """A block, None where it is not there."""
        try:
            with self.path.open("rb") as file:
                file.seek(self._place(number))
                digest, content = file.read(_DIGEST), file.read(self.block)
        except OSError:
            return None
        return content if digest == _digest(content) else None

    def put(self, number: int, content: bytes) -> None:
        """Keep a block. What cannot be kept is fetched again another time: that is no reason to stop."""
        with contextlib.suppress(OSError):
            self.path.parent.mkdir(exist_ok=True)
            with self.path.open("r+b" if self.path.exists() else "w+b") as file:
                file.seek(self._place(number))
                file.write(_digest(content) + content)

    def _place(self, number: int) -> int:
        return number * (_DIGEST + self.block)


@dataclass(frozen=True)
class KeptParts:
    """The folder of the parts. A file is known by its address, size and the server's mark of its version (ETag or date)."""

    folder: Path

    def of(self, address: str, version: str, size: int, block: int) -> KeptFile | None:
        """The blocks of a file; None where the server does not mark its versions, so that old and new parts could mix."""
        if not version:
            return None
        name = hashlib.sha256("\n".join([address, version, str(size), str(block)]).encode()).hexdigest()[:32]
        return KeptFile(self.folder / name, block)

    def clear(self) -> None:
        """Everything is whole: nothing is kept."""
        shutil.rmtree(self.folder, ignore_errors=True)


def _digest(content: bytes) -> bytes:
    return hashlib.blake2b(content, digest_size=_DIGEST).digest()
