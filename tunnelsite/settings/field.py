"""One field of a settings class: name, unit, default, title, help, section. Options, schemas, questions and pages are made from it.

The words stand beside the type (`Annotated`, PEP 593), because that is read in the same way from a pydantic model and from a frozen
dataclass, leaves the default where Python and type checkers look for it, and loads no library for a command's help.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Annotated, Any, Literal, TypeVar, cast, get_args, get_origin, get_type_hints

from tunnelsite.core.describe import nearest
from tunnelsite.core.errors import UsageError
from tunnelsite.settings.kinds import ByName, Choice, Setting, Several, key_of

SettingsClass = TypeVar("SettingsClass")


@dataclass(frozen=True)
class Field:
    """A field of a settings class. Attributes: name in Python (`ridge_m`); default in SI units, None = not given; words and kind."""

    name: str
    default: Any
    words: Setting

    @property
    def key(self) -> str:
        """Its name in a project file and in JSON (`ridge`)."""
        return key_of(self.name)

    @property
    def option(self) -> str:
        """Its name on the command line (`--ridge`)."""
        return "--" + self.key.replace("_", "-")

    @property
    def default_words(self) -> str:
        """The default for people; '' where there is none to tell."""
        if self.words.without:
            return self.words.without
        return "" if self.default is None else self.words.shown(self.default)

    def read(self, value: Any, what: str = "") -> Any:
        """The value of the field from words or a number; None stays None. Errors: UsageError naming `what`, or the field."""
        return None if value is None else self.words.read(value, what or self.key.replace("_", " "))


@cache
def fields_of(settings: type) -> tuple[Field, ...]:
    """The described fields of a pydantic model or a frozen dataclass, in their order; those without words are left out.

    Arguments: settings, the class. Each described field is `name: Annotated[TYPE, KIND(title, help, section)] = default`.
    """
    found = []
    defaults = _defaults(settings)
    for name, hint in get_type_hints(settings, include_extras=True).items():
        words = next((item for item in getattr(hint, "__metadata__", ()) if isinstance(item, Setting)), None)
        if words is None or name not in defaults:
            continue
        if isinstance(words, Choice) and not words.choices:
            words = dataclasses.replace(words, choices=_literals(hint))
        found.append(Field(name, defaults[name], words))
    return tuple(found)


def read_settings(settings: type[SettingsClass], given: Mapping[str, Any]) -> SettingsClass:
    """The settings of a frozen dataclass from names and values as in a project file or JSON; what is not given keeps its default.

    Arguments: settings, the class; given, values by key (`topsoil`: "6in"), in words or SI numbers; None = not given.
    Errors: UsageError for unknown names and values that cannot be.
    """
    known = {field.key: field for field in fields_of(cast(Hashable, settings))}
    for key in given:
        if key not in known:
            raise UsageError(f"unknown setting {key!r}", ", ".join(known), nearest(key, known))
    values = {known[key].name: known[key].read(value) for key, value in given.items() if value is not None}
    return settings(**values)


def json_schema(settings: type, *, title: str = "", leave_out: tuple[str, ...] = ()) -> dict[str, Any]:
    """JSON Schema (2020-12) of a settings class as one object of keys and values.

    Each property has `title`, `description`, `default` (SI units), and as annotations of our own `unit`, `section`, `order` (its
    place, from 0), `option` (on the command line) and `default_words` (the default for people).
    """
    properties = {}
    for order, field in enumerate(fields_of(settings)):
        if field.key in leave_out:
            continue
        default = {} if field.default is None else {"default": _plain(field.default)}
        properties[field.key] = {
            **field.words.schema(),
            "title": field.words.title,
            "description": field.words.help,
            **default,
            "unit": field.words.unit,
            "section": field.words.section,
            "order": order,
            "option": field.option,
            "metavar": field.words.metavar,
            "default_words": field.default_words,
        }
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": title or settings.__name__,
        "type": "object",
        "properties": properties,
        "additionalProperties": False,
    }


def path_keys(settings: type, kind: type[Setting]) -> tuple[str, ...]:
    """Keys of the settings of a kind, such as `File`, in their order."""
    return tuple(field.key for field in fields_of(settings) if isinstance(field.words, kind))


def holds_files(field: Field) -> bool:
    """Whether a field is a list or a table of paths."""
    return isinstance(field.words, Several | ByName) and field.words.files


def _plain(value: Any) -> Any:
    return list(value) if isinstance(value, tuple) else value


def _defaults(settings: Any) -> dict[str, Any]:
    if dataclasses.is_dataclass(settings):
        found = {}
        for field in dataclasses.fields(settings):
            make = field.default_factory
            found[field.name] = field.default if make is dataclasses.MISSING else make()
        return found
    return {name: field.get_default(call_default_factory=True) for name, field in settings.model_fields.items()}


def _literals(hint: Any) -> tuple[str, ...]:
    """The words of the `Literal` inside a type."""
    if get_origin(hint) is Literal:
        return get_args(hint)
    inner = get_args(hint)[:1] if get_origin(hint) is Annotated else get_args(hint)
    return tuple(word for part in inner for word in _literals(part))
