"""The house style that a program can hold: ruff, module and function length, import directions."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "tunnelsite"
MODULES = sorted(PACKAGE.rglob("*.py"))

# Who may import whom inside the package; `hosts` may import everything, nothing imports `hosts`.
ALLOWED = {
    "kernels": {"kernels"},
    "core": {"core"},
    "criteria": {"criteria", "core", "kernels"},
    "processes": {"processes", "core", "kernels", "light"},
    "scan": {"scan", "core", "kernels"},
    "siteplan": {"siteplan", "core", "kernels"},
    "light": {"light", "core", "kernels"},
    "decisions": {"decisions", "scan", "core", "kernels", "settings", "result"},
    "io": {"io", "core", "settings", "cautions"},
}
# Other packages a layer may use at all.
OUTSIDE = {
    "kernels": {"numpy", "numba", "llvmlite", "richdem"},  # llvmlite: numba's own, for `lanes`
    "core": {"numpy", "pyproj", "shapely", "pydantic"},
    "siteplan": {"numpy", "scipy", "shapely", "pyproj", "pygeomag"},
    "scan": {"numpy", "shapely", "scipy", "pyproj"},
    "criteria": {"numpy"},
    "light": {"numpy", "pandas", "pvlib"},
    "processes": {"numpy", "scipy", "richdem"},
}
# These write and read a whole result, so they know the layers above io.
RESULT_FILES = {"result_files.py", "kept_run.py"}
FILES_ARE_OPENED_IN = {"io"}
FILE_LIBRARIES = {"rasterio", "pyogrio", "fiona"}


def _layer(module: Path) -> str:
    parts = module.relative_to(PACKAGE).parts
    return parts[0] if len(parts) > 1 else ""


def _imports(module: Path) -> set[str]:
    """Every module imported at run time (imports for type checking are not)."""
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


@pytest.mark.parametrize("module", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_imports_run_one_way(module: Path) -> None:
    layer = _layer(module)
    inside = {name.split(".")[1] for name in _imports(module) if name.startswith("tunnelsite.")}
    inside = {name for name in inside if (PACKAGE / name).is_dir() or (PACKAGE / f"{name}.py").is_file()}
    outside = {name.split(".")[0] for name in _imports(module)} - set(sys.stdlib_module_names) - {"tunnelsite", ""}
    if layer in ALLOWED and module.name not in RESULT_FILES:
        assert inside <= ALLOWED[layer], f"{module} imports {inside - ALLOWED[layer]}"
    if layer in OUTSIDE:
        assert outside <= OUTSIDE[layer], f"{module} imports {outside - OUTSIDE[layer]}"
    if layer not in FILES_ARE_OPENED_IN:
        assert not outside & FILE_LIBRARIES, f"{module} opens files"
    if layer != "hosts" and module.name != "__main__.py":
        assert "hosts" not in inside


@pytest.mark.parametrize("module", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_modules_and_functions_stay_short(module: Path) -> None:
    text = module.read_text("utf-8")
    assert text.count("\n") <= 300, f"{module} has {text.count(chr(10))} lines"
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            first = node.body[1] if ast.get_docstring(node) and len(node.body) > 1 else node.body[0]
            length = node.end_lineno - first.lineno + 1
            assert length <= 65, f"{module}:{node.lineno} {node.name} has {length} lines"


def test_every_public_name_says_what_it_is() -> None:
    silent = []
    for module in MODULES:
        tree = ast.parse(module.read_text("utf-8"))
        for node in tree.body:
            public = isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_")
            if public and not ast.get_docstring(node):
                silent.append(f"{module.relative_to(ROOT)}:{node.name}")
    assert not silent


def test_ruff() -> None:
    for command in (["check"], ["format", "--check"]):
        done = subprocess.run(
            [sys.executable, "-m", "ruff", *command, str(ROOT)], capture_output=True, text=True, cwd=ROOT
        )
        assert done.returncode == 0, done.stdout + done.stderr
