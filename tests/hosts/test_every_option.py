"""Every option of every command against values that are none: refused before anything is read, in words for people."""

from __future__ import annotations

import argparse
import functools
import importlib
import pkgutil
import re
import sys
from pathlib import Path

import pytest

import tunnelsite
from tests.whole_run.files import plain_farm
from tunnelsite.hosts.cli import options
from tunnelsite.hosts.cli.main import main

NUMBERS = ("LENGTH", "NUMBER", "DEG", "SHARE", "SLOPE", "RATE", "HOURS", "SECONDS", "HEIGHT", "DEPTH/MINUTES")
FILES = ("FILE", "DIR", "STEM")
MAY_BE_NEGATIVE = ("--bearing", "--utc-offset", "--declination", "--at", "--bench-height")
NO_NUMBER = ("nan", "-inf", "1e400", "0,5", "1_000", "\u0663", "x" * 3000)
NO_VALUE = ("", " ", "a\0b", "--")
NEGATIVE = ("-1", "-1m", "-2e-3ft")
AGAIN = ("nan",)  # for an option that another command has as well: it is the same reader
# What a message may call an option whose value it knows by another word.
OTHER_WORDS = {"--swale-depth": "swale", "--swale-fall": "swale", "--set": "NAME=VALUE|parameter|--set"}
NOT_FOR_PEOPLE = re.compile(
    r"input should|unable to parse|invalid literal|could not convert|traceback|pydantic|object has|nonetype|<class"
    r"|\bint\b|\bfloat\b|\bstr\b|list index|unpack",
    re.IGNORECASE,
)


# Built once: it takes longer than all that is done with it here.
parser = functools.cache(options.parser)


class Reached(BaseException):
    """Raised in place of the work, to show that a value was let through."""


@pytest.fixture(scope="module")
def farm(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("farm")
    plain_farm(folder)
    (folder / "kept.npz").write_bytes(b"x")
    return folder


WORK = (
    "tunnelsite.io.write.outputs.reserved_outputs",
    "tunnelsite.io.write.outputs.refuse_clashes",
    "tunnelsite.io.read.site.site_from",
    "tunnelsite.plans.candidate.find_candidate",
    "tunnelsite.io.read.sites_file.read_run",
    "tunnelsite.region.inputs.read_region",
    "waitress.create_server",
    "tunnelsite.io.write.staging.write_whole",
    "tunnelsite.screening.exporting.export",
    "tunnelsite.gather.request.gather",
    "tunnelsite.gather.request.area_of_parcels",
)


@functools.cache
def names_of_work() -> list[tuple[object, str]]:
    """Every module and the name by which it calls one of WORK. All are imported first: a module that is imported while a function
    is replaced would keep the other for good, and with it the tests that come later."""
    for module in pkgutil.walk_packages(tunnelsite.__path__, "tunnelsite."):
        if not module.name.startswith("tunnelsite.hosts.gis") and not module.name.endswith("__main__"):
            importlib.import_module(module.name)
    work = [pkgutil.resolve_name(place) for place in WORK]
    modules = [module for name, module in sys.modules.items() if name.split(".")[0] in ("tunnelsite", "waitress")]
    return [
        (module, name)
        for module in modules
        for name, value in vars(module).items()
        if any(value is one for one in work)
    ]


@pytest.fixture
def stopped(monkeypatch, farm):
    """No command gets beyond its options."""
    monkeypatch.chdir(farm)
    monkeypatch.setattr(options, "parser", parser)

    def reached(*_arguments, **_named):
        raise Reached

    for module, name in names_of_work():
        monkeypatch.setattr(module, name, reached)


BASE = {
    "screen": ["screen", "dem.tif", "parcels.gpkg", "--out", "o.gpkg"],
    "demo": ["demo", "--out", "o.gpkg"],
    "check": ["check", "dem.tif", "parcels.gpkg", "--out", "o.gpkg"],
    "sunchart": ["sunchart", "dem.tif", "parcels.gpkg", "--at", "-78", "43"],
    "explain": ["explain", "dem.tif", "parcels.gpkg", "--rank", "1"],
    "rescore": ["rescore", "kept.npz", "--out", "r.gpkg"],
    "robustness": ["robustness", "kept.npz"],
    "compare": ["compare", "parcels.gpkg", "parcels.gpkg"],
    "stakeout": ["stakeout", "dem.tif", "parcels.gpkg", "--sites", "s.gpkg", "--rank", "1"],
    "grading": ["grading", "dem.tif", "parcels.gpkg", "--sites", "s.gpkg", "--rank", "1"],
    "cost": ["cost", "dem.tif", "parcels.gpkg", "--sites", "s.gpkg"],
    "layout": ["layout", "dem.tif", "parcels.gpkg", "--houses", "2"],
    "init": ["init", ".", "--yes"],
    "gather": ["gather", "farm", "--around", "43,-78:300m", "--ground", "http://127.0.0.1:9/dem.tif"],
    "run": ["run", "slope", "dem.tif", "x.tif"],
    "serve": ["serve", "--port", "0"],
}
COMPANY = {
    "--declination": ["--field-horizon", "f.csv", "--north", "magnetic"],
    "--bench-height": ["--level-book", "l.csv", "--level-unit", "m"],
    "--eave": ["--roof", "gable", "--shade-from", "10:00"],
    "--curve-number": ["--burst", "1in/30min", "--two-year-rain", "3in"],
    "--burst": ["--curve-number", "80", "--two-year-rain", "3in"],
}


def _commands() -> dict[str, argparse.ArgumentParser]:
    return next(a for a in parser()._actions if isinstance(a, argparse._SubParsersAction)).choices


def _valued() -> list[tuple[str, str, str, bool]]:
    """(command, option, metavar, whether an earlier command has it too) of every option that takes a value."""
    found, seen = [], set()
    for name, command in _commands().items():
        for action in command._actions:
            if action.option_strings and action.nargs != 0:
                option, metavar = action.option_strings[-1], action.metavar
                metavar = "DEG" if isinstance(metavar, tuple) else str(metavar)
                found.append((name, option, metavar, (option, metavar) in seen))
                seen.add((option, metavar))
    return found


def _base(name: str) -> list[str]:
    """A command line that is right as far as its options go."""
    if name in BASE:
        return BASE[name]
    needed = [action for action in _commands()[name]._actions if action.required]
    words = [[*action.option_strings[-1:], "parcels.gpkg"] for action in needed]
    return [name, *(word for pair in words for word in pair)]


def _said(capsys, command: str, option: str, value: str) -> tuple[int | None, str]:
    """(Exit status or None where the value was let through, the message)."""
    words = [*_base(command), *COMPANY.get(option, []), option, value, *(["43"] if option == "--at" else [])]
    try:
        status = main(words)
    except Reached:
        status = None
    return status, capsys.readouterr().err


def _assert_in_words(status: int | None, said: str, option: str, value: str) -> None:
    asked = f"{option} {value[:20]!r}"  # several are asked in one test
    assert status == 2, f"{asked}: {status} {said[-300:]}"
    assert said.startswith("tunnelsite: ") and said.count("\n") == 1, f"{asked}: {said}"
    assert "Expected: " in said and len(said) < 1500, f"{asked}: {said[:1600]}"
    assert not NOT_FOR_PEOPLE.search(said.replace(value[:20] or "\n\n", "")), f"{asked}: {said}"
    plain = re.sub(r"[-_ ]", "", said).lower()
    words = [option, *OTHER_WORDS.get(option, option).split("|")]
    assert any(re.sub(r"[-_ ]", "", word).lower() in plain for word in words), f"{asked} is not named: {said}"


@pytest.mark.parametrize("command", _commands())
def test_what_is_no_value_is_refused(stopped, capsys, command) -> None:
    for _, option, metavar, again in (one for one in _valued() if one[0] == command):
        values = list(NO_VALUE)
        if metavar in NUMBERS:
            values += [*NO_NUMBER, *([] if option in MAY_BE_NEGATIVE else NEGATIVE)]
        if again:
            values = [value for value in AGAIN if value in values]
        for value in values:
            _assert_in_words(*_said(capsys, command, option, value), option, value)
        if metavar not in (*NUMBERS, *FILES) and not again:
            _check_words(capsys, command, option)


def _check_words(capsys, command: str, option: str) -> None:
    for value in ("nan", "=", "x" * 3000, "\x1b[31m"):  # words: let through, or refused in words
        status, said = _said(capsys, command, option, value)
        if status is not None:
            _assert_in_words(status, said, option, value)
            assert "\x1b" not in said
