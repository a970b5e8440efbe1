"""The errors a user can meet; each says what was given, what is expected and how to fix it."""

from __future__ import annotations

import os
from typing import TypeVar

Asked = TypeVar("Asked")
MOST_LETTERS = 800  # of what was given; a hostile value must not bury what to do about it


def _shortened(text: str) -> str:
    return text if len(text) <= MOST_LETTERS else f"{text[: MOST_LETTERS // 2]} ... {text[-MOST_LETTERS // 4 :]}"


class TunnelsiteError(Exception):
    """An error worth showing to a user as it is, without a traceback.

    Arguments:
        given: what was found, naming the file, option or value.
        expected: what would have been right.
        fix: what the user can do about it.
    """

    exit_status = 1

    def __init__(self, given: str, expected: str = "", fix: str = "") -> None:
        self.given, self.expected, self.fix = given, expected, fix
        parts = [_shortened(given)]
        if expected:
            parts.append(f"Expected: {expected}")
        if fix:
            parts.append(f"Fix: {fix}")
        super().__init__(" ".join(part if part.endswith("?") else part.rstrip(". ") + "." for part in parts))

    def __reduce__(self) -> tuple[object, ...]:  # keeps the three parts when an error crosses a process boundary
        return (type(self), (self.given, self.expected, self.fix))


class UsageError(TunnelsiteError):
    """A wrong option, setting or project file."""

    exit_status = 2


class InputRefused(TunnelsiteError):
    """An input file that cannot be used as it is."""

    exit_status = 3


class NoHeights(InputRefused):
    """Land of which the elevation model holds nothing: nothing is wrong with either, and nothing is known."""


class ResourceShortage(TunnelsiteError):
    """Too little memory, disk or time for what was asked."""

    exit_status = 4


class OutputFailed(TunnelsiteError):
    """An output that could not be written; whatever was there before is untouched."""

    exit_status = 5


_PLAIN_WORDS = {
    int: "a whole number", float: "a number", str: "text", bool: "yes or no", type(None): "nothing", list: "a list", tuple: "a list",
    dict: "a table of names and values",
}  # fmt: skip


def refuse_other(given: object, name: str, *kinds: type) -> None:
    """Errors: UsageError for an argument that is none of the kinds. Arguments: given; its name; kinds."""
    if not isinstance(given, kinds):
        path = os.PathLike in kinds  # which text may be
        words = " or ".join(_kind_words(kind) for kind in kinds if not (path and kind is str))
        raise UsageError(f"{name} is {_kind_words(type(given))}", words, "give one of these")


def _kind_words(kind: type) -> str:
    """What a value of this type is, in words: a type of Python in plain English, one of ours by its name."""
    if issubclass(kind, os.PathLike):
        return "a path"
    name = kind.__name__
    return _PLAIN_WORDS.get(kind, f"{'an' if name[0] in 'AEIOUaeiou' else 'a'} {name}")


def given_or(given: Asked | None, kind: type[Asked]) -> Asked:
    """Settings as given, those by default where none were. Errors: UsageError for other settings."""
    if given is not None:
        refuse_other(given, "settings", kind)
    return kind() if given is None else given
