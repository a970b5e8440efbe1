"""Where the numbers come from: one registry, `sources.toml`, cited by key in rubrics, presets, docs and tests."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

LABELS = ("published", "derived", "common practice", "ours")
_ENDS = {"derived": "derived", "common practice": "common practice, no source", "ours": "set by this project"}


@dataclass(frozen=True)
class Source:
    """One statement and where it stands.

    Attributes:
        key: what cites it. says: the statement. label: one of LABELS. backs: what rests on it here.
        checked: how the statement was checked. publication, year, place (page, section or equation): empty unless published.
    """

    key: str
    says: str
    label: str
    backs: str
    checked: str
    publication: str = ""
    year: str = ""
    place: str = ""

    @property
    def words(self) -> str:
        """The statement with where it stands: what tables and pages show."""
        if self.label != "published":
            return f"{self.says} ({_ENDS[self.label]})"
        return f"{self.says} ({', '.join(part for part in (self.publication, self.year, self.place) if part)})"


@lru_cache(maxsize=1)  # what it reads is part of the program
def sources() -> dict[str, Source]:
    """Every source by key, in the order of the file."""
    found = tomllib.loads(files("tunnelsite.core").joinpath("sources.toml").read_text("utf-8"))
    return {key: Source(key, **entry) for key, entry in found.items()}


def keys_of(source: str) -> list[str]:
    """The keys in `source`, which are separated by commas; none where it is not made of keys."""
    keys = [part.strip() for part in source.split(",")]
    return keys if all(key in sources() for key in keys) else []


def source_words(source: str) -> str:
    """What a table or page shows for `source`: the text of its keys, or itself where it is not made of keys."""
    return "; ".join(sources()[key].words for key in keys_of(source)) or source
