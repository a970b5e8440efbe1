"""A screening run again from its own GeoPackage: what was not the same, and what came of it."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from tunnelsite.decisions.compare import RunsCompared, compare, differing, in_words
from tunnelsite.io.read.sites_file import read_run_table

SAME_SCORE = 1e-3  # scores are written with four decimals


@dataclass(frozen=True, repr=False)
class Repeated:
    """What sets a run apart from the one that it repeats.

    Attributes: versions, by name those of program, libraries and plug-ins that differ, as (then, now); runs, what else differs: settings,
    inputs by name (SHA-256), places.
    """

    versions: dict[str, tuple[Any, Any]]
    runs: RunsCompared

    @property
    def is_same(self) -> bool:
        """Whether every place kept its rank and its score."""
        return all(
            pair.rank_a == pair.rank_b and pair.score_change is not None and abs(pair.score_change) <= SAME_SCORE
            for pair in self.runs.pairs
        )

    @property
    def summary(self) -> dict[str, Any]:
        """Everything, ready for JSON."""
        return {
            "same": self.is_same,
            "versions": {name: list(two) for name, two in self.versions.items()},
        } | self.runs.summary

    def words(self) -> str:
        """The same for people."""
        lines = [
            "Same places, ranks and scores as then."
            if self.is_same
            else f"Not the same as then: {in_words(self.runs.pairs)}."
        ]
        changed = [pair.score_change for pair in self.runs.pairs if pair.score_change is not None]
        if not self.is_same and changed:
            lines.append(f"the largest change of a score is {max(changed, key=abs):+.2f}")
        found: tuple[tuple[str, Mapping[str, tuple[Any, Any]]], ...] = (
            ("input", self.runs.inputs), ("setting", self.runs.settings), ("version", self.versions),
        )  # fmt: skip
        for what, some in found:
            for name, (then, now) in some.items():
                lines.append(f"{what} {name}: then {_in_words(then)}, now {_in_words(now)}")
        return "\n".join(lines)


def repeated(then: str | os.PathLike[str], now: str | os.PathLike[str]) -> Repeated:
    """What sets two runs of the same settings apart. Arguments: GeoPackages. Errors: InputRefused for files that no screening wrote."""
    versions = [_versions(read_run_table(os.fspath(path))[0]) for path in (then, now)]
    runs = compare(then, now)
    assert isinstance(runs, RunsCompared)  # of two files
    return Repeated(differing(*versions), runs)


def _versions(rows: Iterable[Mapping[str, str]]) -> dict[str, str]:
    return {row["name"]: row["value"] for row in rows if row["kind"] == "version"}


def _in_words(value: Any) -> str:
    return "not there" if value is None else str(value).removeprefix("sha256 ")
