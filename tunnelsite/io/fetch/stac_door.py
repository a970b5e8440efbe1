"""pystac and pystac-client speak through the door: no link of a catalogue is followed to a host that was not named."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any
from urllib.parse import urlencode

import pystac
from pystac.stac_io import DefaultStacIO

from tunnelsite.core.errors import InputRefused
from tunnelsite.io.fetch.door import Door

MOST_ITEMS, MOST_DOCUMENTS = 2000, 3000


class StacDoor(DefaultStacIO):
    """Reads documents of a catalogue through a `Door`; local files are refused, however a link spells them."""

    def __init__(self, door: Door) -> None:
        super().__init__()
        self._door, self._read = door, 0

    def read_text(self, source: Any, *args: Any, **kwargs: Any) -> str:
        """A document by its address. Errors: InputRefused."""
        address = str(getattr(source, "absolute_href", None) or getattr(source, "href", None) or source)
        self._read += 1
        if self._read > MOST_DOCUMENTS:
            raise InputRefused(
                f"the catalogue has more than {MOST_DOCUMENTS} documents", "a smaller catalogue", "name a collection"
            )
        return self._door.document(address, found_in="the catalogue").decode("utf-8", "replace")

    def read_text_from_href(self, href: str, *args: Any, **kwargs: Any) -> str:
        """As `read_text`."""
        return self.read_text(href)

    def write_text_to_href(self, href: str, txt: str, *args: Any, **kwargs: Any) -> None:
        """Nothing is written through it."""
        raise NotImplementedError


def search_items(door: Door, root: Mapping[str, Any], bounds: tuple[float, ...], collection: str) -> list[pystac.Item]:
    """Items of a STAC API (STAC API 1.0, Item Search) that meet a box, page by page. Errors: InputRefused."""
    address = next((link["href"] for link in root.get("links", []) if link.get("rel") == "search"), None)
    if not address:
        return []
    query = {"bbox": ",".join(f"{value:.7f}" for value in bounds), "limit": "100"}
    query |= {"collections": collection} if collection else {}
    page = parsed(door.document(f"{address}?{urlencode(query)}", found_in="the STAC API"), address)
    found: list[pystac.Item] = []
    seen = set()
    while True:
        found += [_item(one, address) for one in page.get("features", [])]
        link = next((one for one in page.get("links", []) if one.get("rel") == "next"), None)
        mark = json.dumps(link, sort_keys=True)
        if link is None or mark in seen or len(found) >= MOST_ITEMS:
            return found[:MOST_ITEMS]
        seen.add(mark)
        page = parsed(_next_page(door, link), address)


def _next_page(door: Door, link: Mapping[str, Any]) -> bytes:
    if str(link.get("method", "GET")).upper() == "POST":
        return door.posted(link["href"], json.dumps(link.get("body", {})).encode(), found_in="the STAC API")
    return door.document(link["href"], found_in="the STAC API")


def catalogue_items(door: Door, root: Mapping[str, Any], address: str, collection: str) -> list[pystac.Item]:
    """Items of a static catalogue, links followed. Errors: InputRefused."""
    io = StacDoor(door)
    try:
        if root.get("type") == "Feature":
            return [_item(dict(root), address)]
        catalogue = io.stac_object_from_dict(dict(root), href=address)
        catalogue.set_self_href(address)
        if not isinstance(catalogue, pystac.Catalog):
            raise ValueError(f"it is of the type {root.get('type')!r}")
        catalogue._stac_io = io  # pystac hands it on to what the catalogue links to
        found = []
        for item in catalogue.get_items(recursive=True):
            if not collection or item.collection_id == collection:
                found.append(item)
            if len(found) >= MOST_ITEMS:
                break
        return found
    except (pystac.STACError, KeyError, TypeError, ValueError, AttributeError) as problem:
        raise InputRefused(
            f"{address!r} is no STAC catalogue ({problem})", "STAC 1.0 or later", "check the address"
        ) from None


def _item(values: Any, address: str) -> pystac.Item:
    try:
        item = pystac.Item.from_dict(values, preserve_dict=False)
        if item.get_self_href() is None:
            item.set_self_href(address)
        return item
    except (pystac.STACError, KeyError, TypeError, ValueError, AttributeError) as problem:
        raise InputRefused(
            f"{address!r} gave an item that is none ({problem})", "STAC Items", "name another source"
        ) from None


def parsed(text: bytes, address: str) -> dict[str, Any]:
    """A JSON object. Errors: InputRefused."""
    try:
        found = json.loads(text)
    except (ValueError, RecursionError):
        found = None
    if not isinstance(found, dict):
        raise InputRefused(f"{address[:200]!r} sent no JSON object", "JSON", "check the address in a browser")
    return found
