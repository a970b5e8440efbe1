"""Words from data on their way into XML that people look at."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree

# What XML 1.0 cannot hold, escaped or not (section 2.2), and lone surrogates, which no encoding can.
_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
# Embeddings, overrides and isolates of UAX #9: they can make a text read as another one.
_TURNING = re.compile("[\u202a-\u202e\u2066-\u2069]")
_JOINERS = "\u200c\u200d"  # invisible, but part of the spelling in several scripts
INSTEAD = "\N{REPLACEMENT CHARACTER}"


def xml_words(text: str) -> str:
    """Text that XML 1.0 can hold; what it cannot becomes U+FFFD."""
    return _NOT_XML.sub(INSTEAD, text)


def shown_words(text: str) -> str:
    """One line for people: no control characters, no codes that turn the direction of reading."""
    if text.isascii() and text.isprintable():  # nearly all
        return text.strip()
    line = "".join(
        letter if letter.isprintable() or letter in _JOINERS or _TURNING.match(letter) else " "
        for letter in xml_words(text)
    )
    return _TURNING.sub(INSTEAD, line).strip()


def document_text(root: ElementTree.Element) -> str:
    """A document with its declaration, indented."""
    ElementTree.indent(root)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ElementTree.tostring(root, encoding="unicode") + "\n"
