"""A small SVG writer: well-formed by construction, text stays text, every name from data escaped."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from collections.abc import Sequence

SVG = "http://www.w3.org/2000/svg"
FONT = "'Source Sans 3','Segoe UI','Helvetica Neue',Arial,'DejaVu Sans',sans-serif"
# What XML 1.0 (fifth edition, 2.2) cannot hold at all, escaped or not.
_NO_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def clean(text: object) -> str:
    """The text with what XML cannot hold replaced by U+FFFD."""
    return _NO_XML.sub("\ufffd", str(text))


class Drawing:
    """An SVG picture in user units, built element by element; `text` gives the finished file.

    Arguments: width, height; title and description, read out by screen readers.
    """

    def __init__(self, width: float, height: float, title: str, description: str) -> None:
        self.root = ElementTree.Element(
            "svg",
            {
                "xmlns": SVG,
                "viewBox": f"0 0 {number(width)} {number(height)}",
                "width": number(width),
                "height": number(height),
                "role": "img",
                "aria-labelledby": "title desc",
                "font-family": FONT,
                "lang": "en",
            },
        )
        ElementTree.SubElement(self.root, "title", {"id": "title"}).text = clean(title)
        ElementTree.SubElement(self.root, "desc", {"id": "desc"}).text = clean(description)
        self.defs = ElementTree.SubElement(self.root, "defs")
        self._into = [self.root]

    def add(
        self, tag: str, into: ElementTree.Element | None = None, text: str = "", **attributes: object
    ) -> ElementTree.Element:
        """One element; attribute names take `_` for `-`, numbers are rounded, values are escaped when written."""
        named = {name.rstrip("_").replace("_", "-"): value for name, value in attributes.items() if value is not None}
        values = {
            name: number(value) if isinstance(value, int | float) else clean(value) for name, value in named.items()
        }
        element = ElementTree.SubElement(self._into[-1] if into is None else into, tag, values)
        if text:
            element.text = clean(text)
        return element

    def open_group(self, label: str = "", **attributes: object) -> None:
        """Begins a group; `label` is read out by screen readers."""
        element = self.add("g", None, "", **attributes)
        if label:
            self.add("title", element, label)
        self._into.append(element)

    def close_group(self) -> None:
        """Ends the group begun last."""
        self._into.pop()

    def rectangle(self, x: float, y: float, width: float, height: float, **attributes: object) -> None:
        """A rectangle."""
        self.add("rect", None, "", x=x, y=y, width=width, height=height, **attributes)

    def line(self, x1: float, y1: float, x2: float, y2: float, **attributes: object) -> None:
        """A straight line."""
        self.add("line", None, "", x1=x1, y1=y1, x2=x2, y2=y2, **attributes)

    def path(self, points: Sequence[tuple[float, float]], **attributes: object) -> None:
        """A line through points; nothing for fewer than two of them."""
        self._path(points, "", attributes)

    def ring(self, points: Sequence[tuple[float, float]], **attributes: object) -> None:
        """A closed line through points; nothing for fewer than two of them."""
        self._path(points, "Z", attributes)

    def _path(self, points: Sequence[tuple[float, float]], end: str, attributes: dict[str, object]) -> None:
        if len(points) < 2:
            return
        words = "L".join(f"{number(x)} {number(y)}" for x, y in points)
        self.add("path", None, "", d=f"M{words}{end}", **({"fill": "none"} | attributes))

    def words(self, x: float, y: float, text: str, size: float = 12, **attributes: object) -> None:
        """One line of text."""
        self.add("text", None, text, x=x, y=y, font_size=size, **attributes)

    @property
    def text(self) -> str:
        """The file's content."""
        ElementTree.indent(self.root, " ")
        return '<?xml version="1.0" encoding="UTF-8"?>\n' + ElementTree.tostring(self.root, encoding="unicode") + "\n"


def number(value: float) -> str:
    """A number with at most two decimals. Errors: ValueError if it is not finite (a picture must not hide it)."""
    if value != value or value in (float("inf"), float("-inf")):
        raise ValueError(f"{value} in a picture")
    return f"{value:.2f}".rstrip("0").rstrip(".") if isinstance(value, float) else str(value)
