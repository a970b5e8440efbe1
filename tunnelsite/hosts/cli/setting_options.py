"""Options of a command made from the fields of a settings class, and what was given for them."""

from __future__ import annotations

import argparse
from collections.abc import Iterable, Mapping
from typing import Any, TypeVar

from tunnelsite.core.errors import UsageError
from tunnelsite.core.units import number
from tunnelsite.core.wording import inside
from tunnelsite.plans.kinds import Contents
from tunnelsite.settings.field import Field, fields_of, read_settings
from tunnelsite.settings.kinds import ByName, Choice, Flag, Several

POSITIONAL = ("dem", "parcels")
SettingsClass = TypeVar("SettingsClass")


def add_settings(
    command: argparse.ArgumentParser,
    settings: type,
    *,
    only: Iterable[str] | None = None,
    without: Iterable[str] = (),
    kept: str = "",
    shown: Iterable[str] | None = None,
) -> None:
    """An option for each field of a settings class, in a group for each section; a command may take those of several classes.

    Arguments: command; settings, the class; only, keys of the fields that get one (None = all); without, keys of those that
    get none; kept, words instead of the defaults where what is not given stays as it was; shown, keys of those that `--help` lists
    (None = all). An option that is not given is None.
    """
    groups: dict[str, Any] = {str(group.title): group for group in command._action_groups}
    taken = []
    renamed = dict(command.get_default("renamed") or {})
    wanted = None if only is None else set(only)
    listed = None if shown is None else set(shown)
    for field in fields_of(settings):
        if field.key in POSITIONAL or field.key in without or (wanted is not None and field.key not in wanted):
            continue
        section, told = field.words.section, _argument(field, kept)
        if listed is not None and field.key not in listed:
            told["help"] = argparse.SUPPRESS
        elif section and section not in groups:
            groups[section] = command.add_argument_group(section)
        groups.get(section, command).add_argument(field.option, **told)
        taken.append(field.key)
        renamed |= {f"--{old}": field.option for old in field.words.was}
    given = dict(command.get_default("settings_given") or {}) | {settings: tuple(taken)}
    command.set_defaults(settings_given=given, renamed=renamed)


def _argument(field: Field, kept: str) -> dict[str, Any]:
    words = field.words
    told = inside(words.help.removesuffix("."))
    if isinstance(words, Choice):
        told += f": {', '.join(words.choices[:-1])} or {words.choices[-1]}"
    repeatable = isinstance(words, ByName) or (isinstance(words, Several) and not words.split)
    told += "; repeatable" if repeatable else ""
    if kept:
        told += f" (default: {kept})"
    elif field.default_words not in ("", "none", "no"):
        told += f" (default{':' if words.without else ''} {field.default_words})"
    told = told.replace("%", "%%")
    if isinstance(words, Flag):
        return {"action": "store_true", "default": None, "help": told}
    return {"metavar": words.metavar, "help": told, **({"action": "append"} if repeatable else {})}


def given_settings(given: argparse.Namespace, settings: type, base: Mapping[str, Any] | None = None) -> dict[str, Any]:
    """Names and values, as in a project file, of the settings that a command line gives, over those of `base`.

    Arguments: given, parsed by a command with options from `add_settings`; settings, the class; base, such as a project file's
    settings: entries of a table are added to its own. Errors: UsageError for a pair that is none.
    """
    values = dict(base or {})
    classes = getattr(given, "settings_given", {})
    declared = [key for one, keys in classes.items() if issubclass(settings, one) for key in keys]
    for field in fields_of(settings):
        value = getattr(given, field.key, None) if field.key in (*declared, *POSITIONAL) else None
        if value is None:
            continue
        if isinstance(field.words, ByName):
            value = _table(field, value, values.get(field.key, {}))
        elif isinstance(field.words, Contents):
            value = field.words.unread(value)
        values[field.key] = value
    return values


def settings_asked(
    given: argparse.Namespace, settings: type[SettingsClass], base: Mapping[str, Any] | None = None
) -> SettingsClass:
    """The settings of a plan as its options ask for them; a file that holds one is only named in it.

    Arguments: as `given_settings`. Errors: UsageError.
    """
    return read_settings(settings, given_settings(given, settings, base))


def _table(field: Field, pairs: Iterable[str], base: Mapping[str, Any]) -> dict[str, Any]:
    words = field.words
    assert isinstance(words, ByName)
    found = {name: dict(value) if words.parts else value for name, value in base.items()}
    seen: set[str] = set()
    for pair in pairs:
        name, equals, value = pair.partition("=")
        outer, dot, inner = name.partition(".")
        if not equals or not name.strip() or not value.strip() or (words.parts and not (dot and outer and inner)):
            raise UsageError(f"{field.option} is {pair!r}", words.metavar, f"write it as {words.metavar}")
        if name in seen:
            raise UsageError(f"{field.option} {name} is given twice", "each name once", "leave one out")
        seen.add(name)
        if words.parts:
            found.setdefault(outer, {})[inner] = _plain(value)
        else:
            found[name] = number(value, field.option) if words.value == "number" else value
    return found


def _plain(text: str) -> Any:
    """A number, a truth value, or the words themselves, as TOML would tell them apart by their form."""
    if text in ("true", "false"):
        return text == "true"
    try:
        return number(text, "value")
    except UsageError:
        return text
