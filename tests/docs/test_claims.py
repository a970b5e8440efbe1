"""What the pages claim: every command line can be given, every exit status is one, every extra installs what is missing."""

from __future__ import annotations

import argparse
import functools
import re
import tomllib
from pathlib import Path

import pytest

from tunnelsite.core import errors
from tunnelsite.hosts.cli.options import parser

ROOT = Path(__file__).resolve().parents[2]
PAGES = [
    ROOT / "README.md",
    ROOT / "DEVELOPERS.md",
    *sorted((ROOT / "docs").glob("*.md")),
    ROOT / "sample_data" / "README.md",
]


@functools.cache
def whole_program() -> argparse.ArgumentParser:
    return parser()


@functools.cache
def commands() -> dict[str, argparse.ArgumentParser]:
    (found,) = (action for action in whole_program()._actions if isinstance(action, argparse._SubParsersAction))
    return dict(found.choices)


@functools.cache
def command_lines() -> list[tuple[str, str]]:
    """(page, line) of each `tunnelsite ...` in a block of code or between backticks; lines that go on are one."""
    found = []
    for page in PAGES:
        text = page.read_text("utf-8").replace("\\\n", " ")
        blocks = re.findall(r"^```[a-z]*\n(.*?)^```", text, re.DOTALL | re.MULTILINE)
        lines = [line.strip() for block in blocks for line in block.splitlines()]
        lines += re.findall(r"`(tunnelsite [^`\n]+)`", text)
        found += [(page.name, line.partition("  #")[0]) for line in lines if line.startswith("tunnelsite ")]
    return [one for one in found if one[1].split()[1] in commands() or one[1].split()[1].startswith("-")]


def options_of(command: argparse.ArgumentParser) -> set[str]:
    return {word for action in command._actions for word in action.option_strings}


@pytest.mark.parametrize(("page", "line"), command_lines())
def test_every_option_of_a_command_line_exists(page: str, line: str) -> None:
    name = line.split()[1]
    known = options_of(whole_program()) if name.startswith("-") else options_of(commands()[name])
    for word in re.findall(r"(?<![\w-])--[a-z][a-z-]*", line):
        assert word in known, f"{page}: {line}"


def test_there_are_command_lines_to_try() -> None:
    assert len(command_lines()) > 20 and {line.split()[1] for _, line in command_lines()} >= {
        "screen",
        "grading",
        "explain",
        "region",
    }


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_options_named_alone_exist_somewhere(page: Path) -> None:
    """`--option` between backticks belongs to a command, or to Dask's workers."""
    known = {"--nthreads"}.union(*(options_of(command) for command in commands().values()), options_of(whole_program()))
    for word in re.findall(r"`(--[a-z][a-z-]*)", page.read_text("utf-8")):
        assert word in known, f"{page.name}: {word}"


def test_exit_statuses_of_the_readme_are_those_of_the_errors() -> None:
    text = " ".join((ROOT / "README.md").read_text("utf-8").split())
    said = re.search(r"Exit status: (.*?)\. Ctrl-C", text)[1]
    numbers = {int(number) for number in re.findall(r"\b\d+\b", said)}
    classes = [
        one for one in vars(errors).values() if isinstance(one, type) and issubclass(one, errors.TunnelsiteError)
    ]
    used = {one.exit_status for one in classes if one is not errors.TunnelsiteError}
    assert numbers == {0, *used, 129, 130, 143}
    for number, words in (
        (errors.UsageError, "wrong usage"),
        (errors.InputRefused, "input refused"),
        (errors.ResourceShortage, "resources"),
    ):
        assert re.search(rf"\b{number.exit_status} [^,]*{words}", said)


def test_messages_name_the_packages_of_the_extras() -> None:
    """`pip install ...` in a message installs what the extra of pyproject.toml holds, and no page says that the project is published."""
    extras = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]["optional-dependencies"]
    packages = {name: {re.match(r"[\w-]+", one)[0] for one in extras[name]} for name in extras}
    told = []
    for path in (ROOT / "tunnelsite").rglob("*.py"):
        told += [
            set(words.split()) for words in re.findall(r"pip install ((?:[a-z][a-z-]+ ?)+)", path.read_text("utf-8"))
        ]
    assert len(told) >= 6 and all(one in packages.values() for one in told), told
    for path in [*PAGES, *(ROOT / "tunnelsite").rglob("*.py")]:
        assert not re.search(r"install ['\"]?tunnelsite\[", path.read_text("utf-8")), path
    for page in PAGES:
        for extra in re.findall(r"\.\[(\w+)\]", page.read_text("utf-8")):
            assert extra in extras
