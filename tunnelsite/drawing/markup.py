"""HTML built as a tree, so that a name from data is text and never markup; JSON and pictures made safe to stand in a page."""

from __future__ import annotations

import base64
import hashlib
import json
import re
import xml.etree.ElementTree as ElementTree
from collections.abc import Iterable
from urllib.parse import quote
from xml.etree.ElementTree import Element

from tunnelsite.drawing.svg import clean

NAME_LETTERS = 160
# Controls that no name needs: C0 and C1 but for white space, which becomes a blank, and those that override the direction of text.
_CONTROLS = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")
# What may stand unescaped in a `data:` address inside a quoted attribute (RFC 3986 reserved characters but # and %).
_PLAIN = " =:/',;().-!*$+?@[]{}|^"

# A quoted attribute whose value holds no apostrophe. In a text a quotation mark after = is an accident that changes its shape only.
_QUOTED = re.compile('="([^"\'<]*)"')

Content = str | Element | None | Iterable["Content"]


def tag(name: str, /, *content: Content, **attributes: object) -> Element:
    """One element. Attribute names take `_` for `-` (a last `_` is dropped); True = without value, None and False = left out."""
    element = Element(name)
    for key, value in attributes.items():
        if value is None or value is False:
            continue
        element.set(key.rstrip("_").replace("_", "-"), "" if value is True else clean(value))
    put(element, *content)
    return element


def put(parent: Element, *content: Content) -> None:
    """Add text and elements at the end of an element; None and empty strings are passed over."""
    for part in content:
        if part is None or part == "":
            continue
        if isinstance(part, str):
            if len(parent):
                parent[-1].tail = (parent[-1].tail or "") + clean(part)
            else:
                parent.text = (parent.text or "") + clean(part)
        elif isinstance(part, Element):
            parent.append(part)
        else:
            put(parent, *part)


def named(text: object, letters: int = NAME_LETTERS) -> Element:
    """A name from data: cut where it is endless, kept from turning the line round it (Unicode bidi isolation)."""
    return tag("bdi", plain_name(text, letters))


def plain_name(text: object, letters: int = NAME_LETTERS) -> str:
    """A name from data as one line of text of bounded length."""
    shown = " ".join(_CONTROLS.sub("\ufffd", str(text)).split())
    return (shown if len(shown) <= letters else shown[: letters - 1] + "…") or "(no name)"


def document(root: Element) -> str:
    """A whole page. The content of script and style elements is written as it is: see `json_text` for data."""
    return "<!doctype html>\n" + ElementTree.tostring(root, encoding="unicode", method="html") + "\n"


def json_text(value: object) -> str:
    """JSON that may stand in a script element: no character of it can end the element or begin a comment.

    Errors: ValueError for NaN and infinities, which are no JSON.
    """
    text = json.dumps(value, allow_nan=False, separators=(",", ":"))  # ASCII only, so no U+2028 either
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def digest(text: str) -> str:
    """The hash by which a Content-Security-Policy knows one style or script."""
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


def svg_element(text: str) -> Element:
    """An SVG document as an element of the page."""
    return ElementTree.fromstring(text.partition("?>")[2].replace(f' xmlns="{_SVG}"', "", 1))


def picture(svg: str, words: str) -> Element:
    """An SVG document as an image: what is in it can neither run nor fetch, and its ids meet no others.

    Arguments: svg, with its XML declaration or without; words, for people who cannot see it.
    """
    body = svg.partition("?>")[2].strip() if svg.startswith("<?xml") else svg
    body = re.sub(r">\s+<", "><", body)
    body = _QUOTED.sub(lambda found: f"='{found[1]}'", body)  # fewer escapes
    size = re.search(r'viewBox=["\']0 0 ([\d.]+) ([\d.]+)["\']', body)
    wide, tall = (round(float(part)) for part in size.groups()) if size else (None, None)
    return tag("img", src="data:image/svg+xml," + quote(body, safe=_PLAIN), alt=words, width=wide, height=tall)


_SVG = "http://www.w3.org/2000/svg"
