"""What lies under the map besides the shaded ground: tiles of a file in the folder, or of an address that the user typed and turned on."""

from __future__ import annotations

import asyncio
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

from pydantic import Field

from tunnelsite.core.errors import TunnelsiteError, UsageError
from tunnelsite.desk.answers import Missing, problem_of
from tunnelsite.desk.messages import Message, View
from tunnelsite.io.read.background import MBTILES, Tile, background_of, background_tile
from tunnelsite.io.read.file_facts import file_facts

if TYPE_CHECKING:
    from tunnelsite.desk.host import Desk

KEPT = "background"  # in options.json
AT_ONCE = 2  # tiles are cut
PICTURES = (".tif", ".tiff")
MOST_LISTED = 50
PLACES = ("{z}", "{x}", "{y}")
HOST = re.compile(r"[a-z0-9.-]+")  # nothing that could end a line of the page's policy


class BackgroundAsked(Message):
    """What is to lie under the map: a `file` of the folder, an `address` with {z}, {x} and {y} and whether it is `on`, or neither."""

    file: str = Field(default="", max_length=200)
    address: str = Field(default="", max_length=500)
    on: bool = False
    credit: str = Field(default="", max_length=200)


class BackgroundShown(Message):
    """What may lie under the map (`files`) and what does: `url` of its tiles, `` where nothing does; `origin`, what the page may ask."""

    files: list[str]
    asked: BackgroundAsked
    url: str = ""
    origin: str = ""
    credit: str = ""
    bounds: View | None = None
    least_zoom: int = 0
    most_zoom: int = 22
    problem: str = ""


class Backgrounds:
    """The background of a desk. An address is off when the desk starts; a file is shown again."""

    def __init__(self, desk: Desk) -> None:
        self.desk, self._on = desk, False
        self._few = asyncio.Semaphore(AT_ONCE)

    @property
    def origin(self) -> str:
        """Where the page may fetch pictures besides this desk; `` while that is off."""
        asked = self._asked()
        return origin_of(asked.address) if self._on and asked.address and not asked.file else ""

    def choose(self, asked: BackgroundAsked) -> None:
        """Lay something under the map, or nothing. Errors: UsageError, InputRefused; then nothing is changed."""
        if asked.file:
            background_of(self._path(asked.file))
        if asked.address:
            origin_of(asked.address)
        self.desk.kept.change({KEPT: asked.model_dump(exclude={"on"})})
        self._on = asked.on

    def shown(self) -> BackgroundShown:
        """What lies under the map now."""
        asked = self._asked()
        found = BackgroundShown(
            files=pictures(self.desk.project.folder), asked=asked, origin=self.origin, credit=asked.credit
        )
        if not asked.file:
            return found.model_copy(update={"url": asked.address if self.origin else ""})
        try:
            path = self._path(asked.file)
            about = background_of(path)
        except TunnelsiteError as problem:
            return found.model_copy(update={"problem": problem_of(problem).words})
        west, south, east, north = about.bounds_deg
        version = path.stat().st_mtime_ns
        return found.model_copy(update={
            "url": f"/api/background/{{z}}/{{x}}/{{y}}?v={version}", "credit": about.credit, "least_zoom": about.least_zoom,
            "most_zoom": about.most_zoom, "bounds": View(west=west, south=south, east=east, north=north),
        })  # fmt: skip

    async def tile(self, zoom: int, column: int, row: int) -> Tile:
        """A tile of the file. Errors: Missing where there is none; InputRefused."""
        name = self._asked().file
        async with self._few:
            found = await asyncio.to_thread(background_tile, self._path(name), zoom, column, row) if name else None
        if found is None:
            raise Missing("there is no such tile", "a tile of the file under the map", "look elsewhere")
        return found

    def _asked(self) -> BackgroundAsked:
        kept: Any = self.desk.kept.read().get(KEPT)
        known = (
            {name: str(kept[name]) for name in ("file", "address", "credit") if name in kept}
            if isinstance(kept, dict)
            else {}
        )
        return BackgroundAsked(**known, on=self._on)

    def _path(self, name: str) -> Path:
        path = self.desk.project.inside(name)
        if path.suffix.lower() not in (MBTILES, *PICTURES):
            raise UsageError(
                f"{name[:80]!r} is no picture",
                f"a file that ends in {', '.join((MBTILES, *PICTURES))}",
                "choose one of the list",
            )
        return path


def pictures(folder: Path) -> list[str]:
    """The files of a folder that can lie under the map."""
    files = [one for one in sorted(folder.iterdir()) if one.is_file() and one.name[0] != "."]
    found = [one.name for one in files
             if one.suffix.lower() == MBTILES or (one.suffix.lower() in PICTURES and file_facts(one).picture)]  # fmt: skip
    return found[:MOST_LISTED]


def origin_of(address: str) -> str:
    """Scheme, host and port of an address of tiles. Errors: UsageError for one that is none."""
    expected = "an address such as https://tiles.example.org/{z}/{x}/{y}.png"
    try:
        parts = urlsplit(address)
        host, port = (parts.hostname or "").encode("idna").decode("ascii").lower(), parts.port
    except ValueError:
        raise UsageError(f"the address is {address[:80]!r}", expected, "correct it") from None
    if parts.scheme not in ("http", "https") or not HOST.fullmatch(host) or parts.username or parts.password:
        raise UsageError(
            f"the address is {address[:80]!r}", f"{expected}, with no name or password in it", "correct it"
        )
    missing = [place for place in PLACES if place not in parts.path + parts.query]
    if missing:
        raise UsageError(
            f"the address has no {', '.join(missing)}", expected, "put them where zoom, column and row belong"
        )
    return f"{parts.scheme}://{host}" + (f":{port}" if port else "")
