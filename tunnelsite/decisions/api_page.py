"""The page on the Python calls, written from their docstrings (Google style)."""

from __future__ import annotations

import importlib
import inspect
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

SECTIONS = ("Args", "Returns", "Raises", "Attributes", "Notes", "Example")
_HEADING = re.compile(rf"({'|'.join(SECTIONS)}):\s*")
_ENTRY = re.compile(r"(\*{0,2}[A-Za-z_]\w*(?:, \*{0,2}[A-Za-z_]\w*)*): (.*)")


@dataclass
class Described:
    """A docstring taken apart: first sentence, further text, and sections of (name, words); a section without names has ``."""

    summary: str
    text: str = ""
    sections: dict[str, list[tuple[str, str]]] = field(default_factory=dict)


def described(docstring: str) -> Described:
    """A Google-style docstring taken apart. Raises ValueError for a line in a section that begins no entry and goes on from none."""
    lines = inspect.cleandoc(docstring).splitlines()
    found = Described(lines[0])
    section = ""
    for line in lines[1:]:
        heading = _HEADING.fullmatch(line)
        if heading:
            section = heading[1]
            found.sections[section] = []
        elif not section:
            found.text += f"{line}\n"
        elif line.strip():
            _add(found.sections[section], line, section)
    found.text = found.text.strip()
    return found


def _add(entries: list[tuple[str, str]], line: str, section: str) -> None:
    entry = _ENTRY.fullmatch(line.strip())
    if line.startswith("    ") and not line.startswith("     ") and entry and section != "Returns":
        entries.append((entry[1], entry[2]))
    elif entries:
        entries[-1] = (entries[-1][0], f"{entries[-1][1]} {line.strip()}")
    elif section in ("Returns", "Notes", "Example"):
        entries.append(("", line.strip()))
    else:
        raise ValueError(f"{line!r} begins no entry of {section}")


def public() -> Iterator[tuple[str, Any]]:
    """The public names in their order, and what they are."""
    package = importlib.import_module("tunnelsite")
    for name in sorted(package.__all__, key=lambda name: (name[0].isupper(), name.lower())):
        yield name, getattr(package, name)


def api_page() -> str:
    """`docs/api.md`."""
    parts = [
        "# Python calls",
        "",
        "Written from the docstrings; change those, not this page. Everything here is imported from `tunnelsite`, on first use.",
        "Each call has an example in [docs/examples](examples) or [docs/studies](studies), which the tests run. Results have a short repr",
        "and a table in notebooks.",
        "",
    ]
    for name, thing in public():
        parts += _of(name, thing)
    return "\n".join(parts).rstrip() + "\n"


def _of(name: str, thing: Any) -> list[str]:
    one = described(inspect.getdoc(thing) or "")
    function = inspect.isfunction(thing)
    lines = [f"## {name}", ""]
    if function:
        lines += [f"```text\n{name}({', '.join(_parameters(thing))})\n```", ""]
    lines += [one.summary, ""]
    lines += [one.text, ""] if one.text else []
    for section, entries in one.sections.items():
        lines += [f"*{section}*", ""]
        lines += [f"- `{entry}`: {words}" if entry else f"- {words}" for entry, words in entries] + [""]
    if not function:
        lines += _methods(thing)
    return lines


def _parameters(function: Any) -> Iterator[str]:
    for parameter in inspect.signature(function).parameters.values():
        if parameter.kind is parameter.KEYWORD_ONLY and parameter.default is parameter.empty:
            yield f"*, {parameter.name}"
        elif parameter.default is parameter.empty:
            yield parameter.name
        else:
            default = getattr(parameter.default, "__name__", repr(parameter.default))
            yield f"{parameter.name}={default}"


def _methods(thing: Any) -> list[str]:
    lines = []
    for name, member in vars(thing).items():
        inner = member.fget if isinstance(member, property) else getattr(member, "__func__", member)
        if name.startswith("_") or not (inspect.isfunction(inner)) or not inspect.getdoc(inner):
            continue
        call = (
            name
            if isinstance(member, property)
            else f"{name}({', '.join(p for p in _parameters(inner) if p not in ('self', 'cls'))})"
        )
        first = inspect.cleandoc(inspect.getdoc(inner) or "").splitlines()[0]
        lines.append(f"- `.{call}`: {first}")
    return [*lines, ""] if lines else []
