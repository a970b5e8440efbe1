"""The registry of sources: every key that is cited exists, every source is cited, and each can be followed by a reader."""

from __future__ import annotations

import re
import tokenize
from pathlib import Path

import pytest

from tunnelsite.core import catalogue
from tunnelsite.core.sources import LABELS, keys_of, source_words, sources
from tunnelsite.criteria.reach import reach
from tunnelsite.decisions.pages import criteria_page
from tunnelsite.settings.presets import presets
from tunnelsite.sun.crops import COVERS, CROP_BANDS

ROOT = Path(__file__).resolve().parents[2]
TEXTS = [
    path
    for folder in ("tunnelsite", "tests", "docs", "sample_data")
    for path in sorted((ROOT / folder).rglob("*"))
    if path.suffix in (".py", ".toml", ".md", ".js", ".css") and path.name != "LICENSE.txt"
] + [ROOT / "README.md", ROOT / "DEVELOPERS.md", ROOT / "pyproject.toml"]
CITED = re.compile(r"\[@([a-z0-9-]+)\]")
# Words of a reference that a reader cannot follow, in pieces so that this file does not hold them itself.
UNFOLLOWED = re.compile(
    "|".join(
        (
            r"[(\[,;] ?se" + r"en[)\];,.:]",
            r"from mem" + r"ory[;.,)]",
            r"[(\[,;] ?mem" + r"ory[)\];]",
            "trade bl" + "og",
            "encyclop" + "aedi",
            r", ta" + r"lk\b",
            "check_" + r"values\.",
            "trade" + r"\.md",
            "bad_" + r"inputs ",
            r"project's (notes|list|plan|own table)",
            r"shared (table|check|values)",
            r"public (test file|civil|package's)",
        )
    )
)


def rubrics():
    criteria = [*catalogue.criteria(), *(reach(name) for name in ("water", "road", "power"))]
    return [(criterion.id, rubric) for criterion in criteria for rubric in criterion.rubrics.values()]


def test_every_source_is_whole():
    for source in sources().values():
        assert source.label in LABELS and re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", source.key), source.key
        assert source.says and source.backs and source.checked, source.key
        if source.label == "published":
            assert source.publication and re.search(r"\d{4}", source.year) and source.place, source.key


@pytest.mark.parametrize(("name", "rubric"), rubrics())
def test_every_rubric_names_keys(name, rubric):
    assert keys_of(rubric.source), f"{name}: {rubric.source!r} is not made of keys of sources.toml"


@pytest.mark.parametrize("preset", presets().values(), ids=presets())
def test_every_preset_names_keys(preset):
    assert keys_of(preset.source)
    for changed in preset.settings.get("rubric", {}).values():
        assert keys_of(changed["source"])


def cited() -> set[str]:
    found = {key for _, rubric in rubrics() for key in keys_of(rubric.source)}
    for preset in presets().values():
        found |= set(keys_of(preset.source))
    found |= {key for process in catalogue.processes() for key in keys_of(process.description.source)}
    found |= {item.source for item in (*COVERS, *CROP_BANDS)}
    for path in TEXTS:
        found |= set(CITED.findall(path.read_text("utf-8")))
    return found


def test_every_key_that_is_cited_exists_and_every_source_is_cited():
    found = cited() - {"key"}  # `[@key]` shows how it is done
    assert found - set(sources()) == set()
    assert set(sources()) - found == set()


def prose(path: Path) -> list[tuple[int, str]]:
    """Numbered lines of a text; of Python code only comments and strings."""
    if path.suffix != ".py":
        return list(enumerate(path.read_text("utf-8").splitlines(), 1))
    kinds = {tokenize.COMMENT, tokenize.STRING, getattr(tokenize, "FSTRING_MIDDLE", tokenize.STRING)}
    with tokenize.open(path) as file:
        return [
            (token.start[0], token.string) for token in tokenize.generate_tokens(file.readline) if token.type in kinds
        ]


def test_no_reference_that_a_reader_cannot_follow():
    found = [f"{path}:{n}: {text}" for path in TEXTS for n, text in prose(path) if UNFOLLOWED.search(text)]
    assert not found, "\n".join(found)


def test_the_words_of_a_rubric_are_those_of_its_keys_or_its_own():
    known = sources()
    both = "windbreak-nrcs,  snow-twelve-feet"
    assert source_words(both) == f"{known['windbreak-nrcs'].words}; {known['snow-twelve-feet'].words}"
    assert source_words("my neighbour, 2026") == "my neighbour, 2026" and keys_of("windbreak-nrcs, x") == []
    page = criteria_page(catalogue.criteria())
    for criterion in catalogue.criteria():
        assert all(source_words(rubric.source) in page for rubric in criterion.rubrics.values())
