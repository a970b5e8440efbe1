"""Parts of files as they were fetched, kept until everything asked for is whole: a request that ended early goes on from there."""

from __future__ import annotations

import contextlib
import hashlib
import shutil
import struct
from dataclasses import dataclass, field
from pathlib import Path

_RECORD = struct.Struct("<Q16s")  # number of a block, digest of its bytes


@dataclass
class KeptFile:
    """Blocks of one file, each at its own place in `path`; `index` names those that are there. A block whose bytes are not those that
    were kept (a power cut, a full disk) is not there."""

    path: Path
    index: Path
    block: int
    _held: dict[int, bytes] = field(default_factory=dict)

    def __post_init__(self) -> None:
        with contextlib.suppress(OSError):
            stored = self.index.read_bytes()
            whole = stored[: len(stored) // _RECORD.size * _RECORD.size]
            self._held = dict(_RECORD.iter_unpack(whole))

    def get(self, number: int) -> bytes | None:
        """A block, None where it is not there."""
        if number not in self._held:
            return None
        try:
            with self.path.open("rb") as file:
                file.seek(number * self.block)
                content = file.read(self.block)
        except OSError:
            return None
        return content if _digest(content) == self._held[number] else None

    def put(self, number: int, content: bytes) -> None:
        """Keep a block. What cannot be kept is fetched again another time: that is no reason to stop."""
        with contextlib.suppress(OSError):
            self.path.parent.mkdir(exist_ok=True)
            with self.path.open("r+b" if self.path.exists() else "w+b") as file:
                file.seek(number * self.block)
                file.write(content)
            with self.index.open("ab") as file:
                file.write(_RECORD.pack(number, _digest(content)))
            self._held[number] = _digest(content)


@dataclass(frozen=True)
class KeptParts:
    """The folder of the parts. A file is known by its address, size and the server's mark of its version (ETag or date)."""

    folder: Path

    def of(self, address: str, version: str, size: int, block: int) -> KeptFile | None:
        """The blocks of a file; None where the server does not mark its versions, so that old and new parts could mix."""
        if not version:
            return None
        name = hashlib.sha256("\n".join([address, version, str(size), str(block)]).encode()).hexdigest()[:32]
        return KeptFile(self.folder / f"{name}.bytes", self.folder / f"{name}.index", block)

    def clear(self) -> None:
        """Everything is whole: nothing is kept."""
        shutil.rmtree(self.folder, ignore_errors=True)


def _digest(content: bytes) -> bytes:
    return hashlib.blake2b(content, digest_size=16).digest()
