"""Draws `architecture.svg` from the imports: `python docs/pictures/make_architecture.py`. A test says when it is behind."""

from __future__ import annotations

import ast
from collections import Counter
from pathlib import Path

from tunnelsite.drawing.svg import Drawing

HERE = Path(__file__).resolve().parent
PACKAGE = HERE.parents[1] / "tunnelsite"
# From the bottom up; a folder imports itself and those before it.
FOLDERS = {
    "kernels": "arrays in, arrays out",
    "core": "vocabulary, catalogue",
    "sun": "sun and light at a point",
    "criteria": "measure every placement",
    "processes": "layers in, layers out",
    "scan": "strips, judge, ranking, firmness",
    "settings": "one description per setting",
    "io": "read, write, formats, fetch",
    "screening": "the run, its result and tables",
    "gather": "data from named sources",
    "drawing": "SVG, colours, the farm's map",
    "plans": "sun chart, grading, stake-out, layout",
    "decisions": "explain, compare, robustness",
    "region": "many farms on many workers",
    "report": "the page",
    "desk": "the map in the browser",
    "hosts": "command line, HTTP server",
}
WIDTH, BOX, STEP, TOP = 780.0, 320.0, 40.0, 20.0
INK, SOFT, LINE = "#1a1a1a", "#5b6570", "#31688e"


def imports(package: Path = PACKAGE) -> Counter[tuple[str, str]]:
    """How many modules of one folder import from another, by (importer, imported)."""
    found: Counter[tuple[str, str]] = Counter()
    for path in sorted(package.rglob("*.py")):
        parts = path.relative_to(package).parts
        if len(parts) < 2 or parts[0] not in FOLDERS:
            continue
        names = {
            node.module.split(".")[1]
            for node in ast.walk(ast.parse(path.read_text("utf-8")))
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("tunnelsite.")
        }
        found.update((parts[0], name) for name in names if name in FOLDERS and name != parts[0])
    return found


def architecture_svg() -> str:
    """The folders, the lowest at the bottom, and who imports whom: the wider the line, the more modules do."""
    order = [name for name in reversed(FOLDERS) if (PACKAGE / name).is_dir()]
    at = {name: TOP + k * STEP for k, name in enumerate(order)}
    height = TOP + len(order) * STEP + 20
    words = "Each folder imports itself and folders below it. " + "; ".join(
        f"{name}: {FOLDERS[name]}" for name in order
    )
    drawing = Drawing(WIDTH, height, "Folders of the package and their imports", words)
    drawing.rectangle(0, 0, WIDTH, height, fill="#ffffff")
    for (importer, imported), count in sorted(imports().items()):
        _arc(drawing, at[importer] + 15, at[imported] + 15, count)
    for name in order:
        modules = len(list((PACKAGE / name).rglob("*.py")))
        drawing.rectangle(20, at[name], BOX, 30, rx=4, fill="#f4f1ea", stroke=SOFT, stroke_width=1)
        drawing.words(30, at[name] + 20, name, 15, fill=INK, font_weight="600")
        drawing.words(124, at[name] + 20, FOLDERS[name], 11, fill=SOFT)
        drawing.words(BOX + 28, at[name] + 12, str(modules), 9, fill=SOFT)
    return drawing.text


def _arc(drawing: Drawing, above: float, below: float, count: int) -> None:
    """From the importer down to what it imports."""
    start, reach = BOX + 22, min(WIDTH - BOX - 60, (below - above) * 0.85 + 20)
    width = 0.6 + 0.9 * count**0.5 / 2
    shape = f"M{start:.1f} {above:.1f}C{start + reach:.1f} {above:.1f} {start + reach:.1f} {below:.1f} {start:.1f} {below:.1f}"
    drawing.add("path", d=shape, fill="none", stroke=LINE, stroke_width=round(width, 2), stroke_opacity=0.45)


if __name__ == "__main__":
    (HERE / "architecture.svg").write_text(architecture_svg(), "utf-8")
