"""Parts of fetched files that are kept: what is there again is the very same bytes, or it is fetched again."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from tests.io.fetch.servers import Site, serving
from tunnelsite.core.errors import InputRefused
from tunnelsite.io.fetch.door import Door
from tunnelsite.io.fetch.kept_parts import KeptParts
from tunnelsite.io.fetch.ranged import BLOCK, RangedFile

CONTENT = np.random.default_rng(3).bytes(6 * BLOCK + 17)


@pytest.fixture
def site() -> Iterator[Site]:
    with serving(Site({"/f": CONTENT})) as found:
        yield found


def opened(site: Site, folder: Path) -> RangedFile:
    door = Door.to([site.address])
    door.wait_s, door.tries, door.kept = 0.01, 1, KeptParts(folder / "parts")
    return RangedFile(door, f"{site.address}/f")


def test_a_request_that_broke_off_goes_on_from_what_was_fetched(site: Site, tmp_path: Path) -> None:
    file = opened(site, tmp_path)
    assert file.read(3 * BLOCK) == CONTENT[: 3 * BLOCK]
    site.broken_after, site.breaks = 1000, 99
    with pytest.raises(InputRefused, match="goes on from what was fetched"):
        file.read()
    site.broken_after, site.breaks, asked = 0, 0, len(site.asked)
    again = opened(site, tmp_path)
    assert again.read() == CONTENT
    assert len(site.asked) - asked == 2  # its start, which tells the version, and what was missing
    third = opened(site, tmp_path)
    assert third.read() == CONTENT and len(site.asked) - asked == 3


def test_parts_of_another_version_are_left_alone(site: Site, tmp_path: Path) -> None:
    assert opened(site, tmp_path).read() == CONTENT
    site.files["/f"] = CONTENT[::-1]
    assert opened(site, tmp_path).read() == CONTENT[::-1]


@pytest.mark.parametrize("damage", ["bytes", "digest", "short", "gone"])
def test_damaged_parts_are_fetched_again(site: Site, tmp_path: Path, damage: str) -> None:
    assert opened(site, tmp_path).read() == CONTENT
    [data] = (tmp_path / "parts").iterdir()
    if damage in ("bytes", "digest"):
        whole = bytearray(data.read_bytes())
        whole[2 * (BLOCK + 16) + (5 if damage == "digest" else 500)] ^= 1
        data.write_bytes(whole)
    elif damage == "short":
        data.write_bytes(data.read_bytes()[: 3 * BLOCK + 9])
    else:
        data.unlink()
    assert opened(site, tmp_path).read() == CONTENT
    asked = len(site.asked)
    assert opened(site, tmp_path).read() == CONTENT
    assert len(site.asked) == asked + 1  # mended: all that is asked for again is the start, which tells the version


def test_what_cannot_be_kept_stops_nothing(site: Site, tmp_path: Path) -> None:
    (tmp_path / "parts").write_text("a file stands where the folder would be")
    assert opened(site, tmp_path).read() == CONTENT
