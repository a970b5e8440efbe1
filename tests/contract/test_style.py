"""The house style that a program can hold: ruff, module and function length, import directions."""

from __future__ import annotations

import ast
import functools
import graphlib
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "tunnelsite"
MODULES = sorted(PACKAGE.rglob("*.py"))

# A module imports its own folder and those before it; criteria and processes stand side by side.
ORDER = (
    ("kernels",),
    ("core",),
    ("sun",),
    ("criteria", "processes"),
    ("scan",),
    ("settings",),
    ("io",),
    ("screening",),
    ("gather",),
    ("drawing",),
    ("plans",),
    ("decisions",),
    ("region",),
    ("report",),
    ("desk",),
    ("hosts",),
)
ALONE = {"criteria": {"processes"}, "processes": {"criteria"}, "scan": {"criteria", "processes"}}
AT_THE_TOP = {"__init__.py", "__main__.py"}
# Other packages a folder may use at all.
OUTSIDE = {
    "kernels": {"numpy", "numba", "llvmlite", "richdem"},  # llvmlite: numba's own, for `lanes`
    "core": {"numpy", "pyproj", "shapely", "pydantic"},
    "sun": {"numpy", "h5py"},
    "criteria": {"numpy"},
    "processes": {"numpy", "scipy", "richdem"},
    "scan": {"numpy", "shapely", "scipy", "pyproj"},
}
FILES_ARE_OPENED_IN = {"io"}
NAMELESS = ("asked", "found", "placed", "was")
LINES_OF_A_MODULE, LINES_OF_A_FUNCTION = 300, 65
FILE_LIBRARIES = {"rasterio", "pyogrio", "fiona"}


def _layer(module: Path) -> str:
    parts = module.relative_to(PACKAGE).parts
    return parts[0] if len(parts) > 1 else ""


@functools.cache
def _imports(module: Path) -> set[str]:
    """Every module imported at run time, inside functions too; imports for type checking are not."""
    found: set[str] = set()
    tree = ast.parse(module.read_text("utf-8"))
    skipped = {
        id(inner)
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and getattr(node.test, "id", "") == "TYPE_CHECKING"
        for inner in ast.walk(node)
    }
    for node in ast.walk(tree):
        if id(node) in skipped:
            continue
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.level == 0:
            found |= {node.module or ""} | {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def _wrong_imports(module: Path) -> Iterator[str]:
    layer, found = _layer(module), _imports(module)
    inside = {name.split(".")[1] for name in found if name.startswith("tunnelsite.")}
    outside = {name.split(".")[0] for name in found} - set(sys.stdlib_module_names) - {"tunnelsite", ""}
    yield from sorted(inside & _not_for(layer))
    if layer in OUTSIDE:
        yield from sorted(outside - OUTSIDE[layer])
    if layer not in FILES_ARE_OPENED_IN:
        yield from sorted(outside & FILE_LIBRARIES)


def _not_for(layer: str) -> set[str]:
    """The folders that a module of this folder may not import."""
    if not layer:  # the package itself imports on first use
        return set()
    at = next(index for index, folders in enumerate(ORDER) if layer in folders)
    return {folder for folders in ORDER[at + 1 :] for folder in folders} | ALONE.get(layer, set())


def test_nothing_else_stands_at_the_top() -> None:
    assert {path.name for path in PACKAGE.glob("*.py")} == AT_THE_TOP
    folders = {path.name for path in PACKAGE.iterdir() if (path / "__init__.py").is_file()}
    assert folders <= {folder for folders in ORDER for folder in folders}


def test_imports_run_one_way() -> None:
    wrong = [f"{module.relative_to(PACKAGE)} imports {name}" for module in MODULES for name in _wrong_imports(module)]
    assert not wrong


def test_no_module_imports_itself_by_way_of_others() -> None:
    names = {".".join(("tunnelsite", *path.relative_to(PACKAGE).with_suffix("").parts)): path for path in MODULES}
    names = {name.removesuffix(".__init__"): path for name, path in names.items()}
    graph = {
        name: {found for found in _imports(path) & names.keys() if not f"{name}.".startswith(f"{found}.")}
        for name, path in names.items()
        if name != "tunnelsite"  # the package itself imports on first use
    }
    graphlib.TopologicalSorter(graph).prepare()  # raises CycleError, which names the circle


def _too_long(module: Path) -> Iterator[str]:
    text, name = module.read_text("utf-8"), module.relative_to(PACKAGE)
    if text.count("\n") > LINES_OF_A_MODULE:
        yield f"{name} has {text.count(chr(10))} lines"
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            first = node.body[1] if ast.get_docstring(node) and len(node.body) > 1 else node.body[0]
            length = node.end_lineno - first.lineno + 1
            if length > LINES_OF_A_FUNCTION:
                yield f"{name}:{node.lineno} {node.name} has {length} lines"


def test_modules_and_functions_stay_short() -> None:
    assert not [words for module in MODULES for words in _too_long(module)]


def test_every_public_name_says_what_it_is() -> None:
    silent = []
    for module in MODULES:
        tree = ast.parse(module.read_text("utf-8"))
        for node in tree.body:
            public = isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_")
            if public and not ast.get_docstring(node):
                silent.append(f"{module.relative_to(ROOT)}:{node.name}")
    assert not silent


def _unpacked(module: Path) -> list[str]:
    """Where a value that only says that it was asked or found is taken apart: such a value has a type with names."""
    found, name = [], module.relative_to(ROOT)
    for node in ast.walk(ast.parse(module.read_text("utf-8"))):
        where = f"{name}:{getattr(node, 'lineno', 0)}"
        if isinstance(node, ast.Assign) and isinstance(node.value, ast.Name) and node.value.id in NAMELESS:
            found += [
                f"{where} takes {node.value.id} apart" for target in node.targets if isinstance(target, ast.Tuple)
            ]
        if isinstance(node, ast.FunctionDef):
            for one in (one for one in node.args.args if one.arg in NAMELESS):
                kind = "" if one.annotation is None else ast.unparse(one.annotation)
                indexed = any(
                    isinstance(part, ast.Subscript) and ast.unparse(part.value) == one.arg for part in ast.walk(node)
                )
                if kind.startswith("tuple[") or (not kind and indexed):
                    found.append(f"{where} takes a bare tuple {one.arg}")
    return found


def test_groups_of_values_have_names() -> None:
    """Kernels are compiled, and take plain tuples."""
    assert not [words for module in MODULES if "kernels" not in module.parts for words in _unpacked(module)]


def test_ruff() -> None:
    for command in (["check"], ["format", "--check"]):
        done = subprocess.run(
            [sys.executable, "-m", "ruff", *command, str(ROOT)], capture_output=True, text=True, cwd=ROOT
        )
        assert done.returncode == 0, done.stdout + done.stderr
