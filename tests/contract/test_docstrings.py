"""Public calls are documented in one form (Google style): every parameter, what comes back, what is raised; each has an example."""

from __future__ import annotations

import inspect
from pathlib import Path

import pytest

from tunnelsite.decisions.api_page import described, public

ROOT = Path(__file__).resolve().parents[2]
FUNCTIONS = [(name, thing) for name, thing in public() if inspect.isfunction(thing)]
EXAMPLES = "".join(
    path.read_text("utf-8") for part in ("examples", "studies") for path in (ROOT / "docs" / part).glob("*.py")
)


@pytest.mark.parametrize(("name", "function"), FUNCTIONS, ids=[name for name, _ in FUNCTIONS])
def test_a_public_call_says_everything(name: str, function) -> None:
    said = described(inspect.getdoc(function) or "")
    assert said.summary.endswith(".")
    named = [part.strip() for entry, _ in said.sections["Args"] for part in entry.split(",")]
    assert named == list(inspect.signature(function).parameters)
    gives = inspect.signature(function).return_annotation not in (None, "None")
    assert bool(said.sections.get("Returns")) == gives and said.sections["Raises"]
    assert all(entry and words for part in ("Args", "Raises") for entry, words in said.sections[part])


@pytest.mark.parametrize("name", [name for name, _ in FUNCTIONS])
def test_a_public_call_has_an_example_that_runs(name: str) -> None:
    assert f"{name}(" in EXAMPLES


def test_docstrings_are_taken_apart() -> None:
    said = described(
        "One.\n\nMore.\n\nArgs:\n    a, b: both,\n        and more.\n\nReturns:\n    A thing: whole.\n\nRaises:\n    KeyError: never."
    )
    assert said.summary == "One." and said.text == "More."
    assert said.sections == {
        "Args": [("a, b", "both, and more.")],
        "Returns": [("", "A thing: whole.")],
        "Raises": [("KeyError", "never.")],
    }
    with pytest.raises(ValueError, match="begins no entry"):
        described("One.\n\nArgs:\n    a thing without colon")
