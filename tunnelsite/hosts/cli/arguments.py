"""The words of a command line, turned into checked values before any command sees them."""

from __future__ import annotations

import argparse
import re
import sys
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import NoReturn

from tunnelsite.core.describe import nearest
from tunnelsite.core.errors import UsageError
from tunnelsite.core.units import whole_number

# `--setback -1m`: argparse takes plain negative numbers for values but `-1m` for an option of its own.
_NEGATIVE_AMOUNT = re.compile(r"-(\.?\d|inf|nan)", re.IGNORECASE)
_PLAIN_NEGATIVE = re.compile(r"-\d+|-\d*\.\d+")


class Parser(argparse.ArgumentParser):
    """A parser whose errors are one line, like all others."""

    def error(self, message: str) -> NoReturn:
        """Errors: UsageError, always."""
        option = re.fullmatch(r"argument (.+?): expected (.+?) arguments?", message)
        if option:
            wanted = f"{option[2]} value after it{self._shown(option[1])}"
            raise UsageError(f"{option[1]} is given without its value", wanted, "add what is missing")
        choice = re.fullmatch(r"argument (.+?): invalid choice: '(.*)' \(choose from (.+)\)", message, re.DOTALL)
        if choice:
            choices = re.findall(r"[\w-]+", choice[3])
            raise UsageError(f"{choice[1]} is {choice[2]!r}", " or ".join(choices), nearest(choice[2], choices))
        given = message.removeprefix("argument ")
        raise UsageError(given, f"what `{self.prog} --help` tells", "correct the command")

    def _shown(self, names: str) -> str:
        """An option with its value, as the help shows it. Arguments: names, of one option, joined by `/`."""
        name = names.split("/")[-1]
        action = self._option_string_actions.get(name)
        return f", as {name} {action.metavar}" if action is not None and isinstance(action.metavar, str) else ""


def parsed(parser: argparse.ArgumentParser, arguments: Sequence[str] | None) -> argparse.Namespace:
    """What was asked for. Errors: UsageError for an unknown option, an empty value or one with a null character;
    SystemExit as argparse raises it."""
    given, unknown = parser.parse_known_args(_joined(sys.argv[1:] if arguments is None else arguments))
    words = {} if given.name is None else _words_of(parser, given.name)
    if unknown:
        raise _unknown(parser, given.name, unknown[0], words)
    for name, value in vars(given).items():
        for text in value if isinstance(value, list) else [value]:
            _check(words.get(name, name), text)
    return given


def _unknown(parser: argparse.ArgumentParser, name: str | None, word: str, words: Mapping[str, str]) -> UsageError:
    """What is wrong with a word that no option of the command takes."""
    command = f"tunnelsite {name}" if name else "tunnelsite"
    option = word.partition("=")[0]
    now = _renamed(parser, name).get(option)
    if now:
        return UsageError(f"{option} is called {now} now", f"{now}, as in every command", f"write {now}")
    return UsageError(
        f"{word!r} is no option of `{command}`",
        f"what `{command} --help` lists",
        _other_number(option, words) or _elsewhere(parser, option) or nearest(option, words.values()),
    )


def _other_number(option: str, words: Mapping[str, str]) -> str | None:
    """What to do about `--rank` where the command has `--ranks`, or the other way round; None where it has neither."""
    found = [word for word in words.values() if word.removesuffix("s") == option.removesuffix("s")]
    return f"write {found[0]}" if found else None


def _renamed(parser: argparse.ArgumentParser, name: str | None) -> Mapping[str, str]:
    """Former names of a command's options, each with the name of today."""
    return (_commands(parser)[name].get_default("renamed") if name else None) or {}


def _words_of(parser: argparse.ArgumentParser, command: str) -> dict[str, str]:
    """What the user calls each argument of a command, by the name it has in the program."""
    return {
        action.dest: action.option_strings[-1] if action.option_strings else str(action.metavar)
        for action in _commands(parser)[command]._actions
    }


def _commands(parser: argparse.ArgumentParser) -> Mapping[str, argparse.ArgumentParser]:
    return next(action.choices for action in parser._actions if isinstance(action, argparse._SubParsersAction))


def _elsewhere(parser: argparse.ArgumentParser, word: str) -> str | None:
    """What to do about an option that other commands have, such as `--house` after a screening; None where none has it."""
    found = [f"`{name}`" for name, command in _commands(parser).items() if word in command._option_string_actions]
    return f"leave it out; it is an option of {', '.join(found)}" if found else None


def whole(option: str, least: int, most: int) -> Callable[[str], int]:
    """A reader of whole numbers for argparse, which lets the UsageError through."""

    def read(text: str) -> int:
        return whole_number(text, option, least, most)

    return read


def check_ending(option: str, path: Path, *endings: str) -> None:
    """Errors: UsageError for an output whose name does not end as its kind of file does."""
    if path.suffix.lower() not in endings:
        raise UsageError(f"{option} is {path}", f"a name that ends in {', '.join(endings)}", "rename it")


def _joined(arguments: Sequence[str]) -> list[str]:
    """The arguments with amounts below zero tied to their option, so that the message is about the amount."""
    found: list[str] = []
    for text in map(str, arguments):
        if text.endswith("=--"):
            raise UsageError(f"{text[:-3]} is '--'", "a value", "give one, or leave the option out")
        negative = _NEGATIVE_AMOUNT.match(text) and not _PLAIN_NEGATIVE.fullmatch(text)
        if negative and found and re.fullmatch(r"--[a-z][a-z-]*", found[-1]):
            found[-1] += f"={text}"
        else:
            found.append(text)
    return found


def _check(word: str, text: object) -> None:
    if not isinstance(text, str):
        return
    if not text.strip():
        raise UsageError(f"{word} is empty", "a value", "give one, or leave it out")
    if "\0" in text:
        raise UsageError(f"{word} holds a null character", "text without it", "write it again")
