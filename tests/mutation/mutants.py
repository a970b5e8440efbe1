"""Mutants of the program by the operators of cosmic-ray, and the tests whose functions run the line that each one changes."""

from __future__ import annotations

import ast
import hashlib
import re
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from cosmic_ray.ast import ast_nodes, get_ast_from_path
from cosmic_ray.mutating import mutate_code
from cosmic_ray.plugins import get_operator, operator_names
from coverage import CoverageData

# What a slip of the pen does: another comparison, sign or constant, a condition turned round, a loop or a default left out.
OPERATORS = re.compile(
    r"core/(ReplaceComparisonOperator_(Lt|LtE|Gt|GtE|Eq|NotEq)_(Lt|LtE|Gt|GtE|Eq|NotEq)"
    r"|ReplaceBinaryOperator_(Add|Sub|Mul|Div)_(Add|Sub|Mul|Div)|ReplaceUnaryOperator_(USub_UAdd|Delete_Not|Not_Delete)"
    r"|AddNot|ReplaceAndWithOr|ReplaceOrWithAnd|NumberReplacer|ReplaceTrueWithFalse|ReplaceFalseWithTrue"
    r"|ReplaceBreakWithContinue|ReplaceContinueWithBreak|ZeroIterationForLoop)"
)
PARTS = (
    "criteria",
    "scan",
    "plans",
    "sun",
    "core/units.py",
    "core/shade_gap.py",
    "core/rubric.py",
    "core/elevation_error.py",
)


# What is drawn, worded or laid out as a table: a wrong width of a hatch is no wrong answer.
SHOWN = (
    "map",
    "key",
    "profiles",
    "picture",
    "light_picture",
    "sky_picture",
    "frame",
    "lower",
    "words",
    "tables",
    "layers",
)


@dataclass(frozen=True)
class Mutant:
    """One change of one module: `path` below the root, `operator` of cosmic-ray, which `occurrence` of it, on which `line`."""

    path: str
    operator: str
    occurrence: int
    line: int

    def code(self, root: Path) -> str:
        """The module's text with the change."""
        text = (root / self.path).read_text("utf-8")
        return mutate_code(text, get_operator(self.operator)(), self.occurrence)

    def words(self, root: Path) -> str:
        """Where it is and what it makes of the line."""
        old, new = (root / self.path).read_text("utf-8").splitlines(), self.code(root).splitlines()
        at = next((k for k, pair in enumerate(zip(old, new, strict=False)) if pair[0] != pair[1]), self.line - 1)
        return f"{self.path}:{at + 1}: `{old[at].strip()}` -> `{new[at].strip()}`"


def sampled(root: Path, count: int, seed: int) -> list[Mutant]:
    """Mutants drawn from all of those of PARTS, without those that change nothing but annotations or messages.

    Each has a number of its own, made of what it changes: the sample stays while other code is written.
    """
    places = [root / "tunnelsite" / part for part in PARTS]
    modules = [path for place in places for path in ([place] if place.is_file() else sorted(place.rglob("*.py")))]
    drawn: list[tuple[bytes, Mutant]] = []
    for path in modules:
        if path.stem in SHOWN:
            continue
        lines, seen = path.read_text("utf-8").splitlines(), Counter[tuple[str, str]]()
        for mutant in _of(root, path):
            what = mutant.operator, lines[mutant.line - 1].strip()
            number = repr((seed, mutant.path, *what, seen[what])).encode()
            drawn.append((hashlib.blake2b(number).digest(), mutant))
            seen[what] += 1
    return [mutant for _, mutant in sorted(drawn, key=lambda one: one[0])[:count]]


def _of(root: Path, path: Path) -> list[Mutant]:
    tree, skipped = get_ast_from_path(path), _without_effect(path)
    found = []
    for name in operator_names():
        if OPERATORS.fullmatch(name):
            operator = get_operator(name)()
            places = [start for node in ast_nodes(tree) for start, _ in operator.mutation_positions(node)]
            found += [
                Mutant(str(path.relative_to(root)), name, k, line)
                for k, (line, column) in enumerate(places)
                if not any(first <= (line, column) < last for first, last in skipped)
            ]
    return found


def _without_effect(path: Path) -> list[tuple[tuple[int, int], tuple[int, int]]]:
    """Spans of annotations and decorators, of what raise statements say, and of blocks that only type checkers read."""
    found = []
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        parts = [getattr(node, name, None) for name in ("annotation", "returns")]
        parts += getattr(node, "decorator_list", [])  # a frozen dataclass that could be changed is the same program
        if isinstance(node, ast.Raise) or (isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"):
            parts.append(node)
        found += [
            ((part.lineno, part.col_offset), (part.end_lineno, part.end_col_offset))
            for part in parts
            if isinstance(part, ast.AST)
        ]
    return found


class Tests:
    """Which test functions run a line, from a coverage run with one context a test (`contexts`); cheapest first."""

    def __init__(self, root: Path, folder: Path) -> None:
        self._root = root
        self._tests: dict[tuple[str, int], set[str]] = {}
        self._size: dict[str, int] = {}
        for path in sorted(folder.iterdir()):
            if path.suffix != ".ini":
                self._add(path)

    def _add(self, path: Path) -> None:
        data = CoverageData(str(path))
        data.read()
        for file in data.measured_files():
            name = "tunnelsite/" + file.split("/tunnelsite/")[-1]
            for line, contexts in data.contexts_by_lineno(file).items():
                self._tests.setdefault((name, line), set()).update(contexts)
                for context in contexts:
                    self._size[context] = self._size.get(context, 0) + 1

    def of(self, mutant: Mutant, most: int) -> list[str]:
        """Files and node ids: the file of tests named after the module, where a reader would look, then at most `most` other tests;
        of the whole module's where the line runs on import or the code has moved since."""
        contexts = self._tests.get((mutant.path, mutant.line), set()) - {""}
        if not contexts:
            everything = [several for (path, _), several in self._tests.items() if path == mutant.path]
            contexts = set().union(*everything) - {""}
        path = Path(mutant.path)
        named = [str(file) for file in sorted((self._root / "tests").rglob(f"test_{path.stem}.py"))]
        named = [file.removeprefix(f"{self._root}/") for file in named if Path(file).parent.name == path.parent.name]
        others = [one for one in contexts if one.partition("::")[0] not in named]
        return named + sorted(others, key=lambda one: (self._size[one], one))[:most]
