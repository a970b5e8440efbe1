"""Words at the head of a line and inside a sentence, and places in words."""

from __future__ import annotations


def inside(words: str) -> str:
    """A title or sentence after a colon or inside another one: its first word small, unless that is an abbreviation."""
    return words[0].lower() + words[1:] if words[1:2].islower() or words[:2] == "A " else words


def capital(words: str) -> str:
    """Words at the head of a line."""
    return words[:1].upper() + words[1:]


def place_words(lon: float, lat: float) -> str:
    """A place in WGS 84 degrees, each named: maps take the latitude first, options the longitude."""
    return f"lat {lat:.6f}, lon {lon:.6f}"
