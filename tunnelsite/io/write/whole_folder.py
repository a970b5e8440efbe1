"""A folder of outputs that appears whole or not at all."""

from __future__ import annotations

import contextlib
import os
import shutil
from collections.abc import Iterator
from pathlib import Path

from tunnelsite.core.errors import OutputFailed


@contextlib.contextmanager
def whole_folder(target: Path) -> Iterator[Path]:
    """A new folder to write into, beside its place; if all goes well it takes that place, else nothing is left of it.

    Arguments: target, which is not there yet; folders above it are made. Yields: the folder to write to.
    Errors: OutputFailed where it cannot be made or put in place; anything else raised inside comes out as it is.
    """
    part = half_of(target)
    try:
        shutil.rmtree(part, ignore_errors=True)
        part.mkdir(parents=True)
        yield part
        os.rename(part, target)
    except OSError as problem:
        raise OutputFailed(f"{target} could not be written ({problem.strerror or problem})", "room in the folder above it",
                           "make room and do it again") from None  # fmt: skip
    finally:
        shutil.rmtree(part, ignore_errors=True)


def half_of(target: Path) -> Path:
    """Where a folder is written until it is whole; what lies there after a run was killed can be thrown away."""
    return target.with_name(f".{target.name}.partial")
