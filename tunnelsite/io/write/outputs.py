"""All outputs of a command at once: none may be an input or another output, and all are held for the length of the run."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

from tunnelsite.core.ending import taken_away
from tunnelsite.core.errors import OutputFailed, UsageError
from tunnelsite.io.read.files import layer_of
from tunnelsite.io.write.staging import reserved


@contextlib.contextmanager
def reserved_outputs(
    outputs: Mapping[str, Path], inputs: Iterable[str | os.PathLike[str]], *, overwrite: bool
) -> Iterator[None]:
    """Keep every output of a command for this run alone.

    Arguments: outputs by what they are (words for the message); inputs, every file the command reads (`FILE#LAYER` too);
    overwrite, whether outputs that exist may be replaced.
    Errors: UsageError where an output is also an input or another output, whatever `overwrite` says; else as `reserved`.
    """
    refuse_clashes(outputs, inputs)
    with contextlib.ExitStack() as stack:
        for path in outputs.values():
            stack.enter_context(reserved(path, overwrite=overwrite))
        yield


def refuse_clashes(outputs: Mapping[str, Path], inputs: Iterable[str | os.PathLike[str]]) -> None:
    """Errors: UsageError where an output is also an input or another output."""
    read = {source: os.path.realpath(source) for source in map(_file_of, inputs) if "\0" not in source}
    seen: dict[str, str] = {}
    for what, path in outputs.items():
        real = os.path.realpath(path)
        for source, real_source in read.items():
            if real == real_source or _same(path, source):
                raise UsageError(
                    f"{what} {path} is also an input, {source}",
                    "an output that replaces nothing that is read",
                    "choose another name or folder",
                )
        if real in seen:
            raise UsageError(f"{what} and {seen[real]} are both {path}", "a file for each output", "rename one of them")
        seen[real] = what


def _file_of(path: str | os.PathLike[str]) -> str:
    text = os.fspath(path)
    try:
        return os.fspath(layer_of(text)[0])
    except (OSError, ValueError):
        return text


def _same(output: str | os.PathLike[str], source: str) -> bool:
    """Whether they are one file by a hard link, or by another spelling on a file system blind to case."""
    try:
        return os.path.samefile(output, source)
    except (OSError, ValueError):
        return False


def make_folder(folder: Path, wanted: str = "a folder that can be made") -> None:
    """Make an output folder and those above it where they are missing. Errors: OutputFailed saying what was `wanted`."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        raise OutputFailed(f"folder {folder} cannot be made ({problem.strerror})", wanted, "choose another") from None


@contextlib.contextmanager
def output_folder(folder: Path | None, wanted: str = "a folder that can be made") -> Iterator[None]:
    """A folder of `make_folder`; those that we made and that are empty at the end are taken away again, so that a refused run leaves
    nothing behind. None: nothing is made.

    Errors: OutputFailed saying what was `wanted`.
    """
    missing = [] if folder is None else [place for place in (folder, *folder.parents) if not os.path.lexists(place)]

    def remove() -> None:
        for place in missing:
            with contextlib.suppress(OSError):  # not empty, or not made after all
                place.rmdir()

    try:
        with taken_away(remove):
            if folder is not None:
                make_folder(folder, wanted)
            yield
    finally:
        remove()
