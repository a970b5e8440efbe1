"""A file read in parts over HTTP: the same bytes as the file, or an error; never half of them."""

from __future__ import annotations

import io
from collections.abc import Iterator

import numpy as np
import pytest

from tests.io.fetch.servers import Site, serving
from tunnelsite.core.errors import InputRefused
from tunnelsite.io.fetch.door import Door
from tunnelsite.io.fetch.ranged import BLOCK, RangedFile

CONTENT = np.random.default_rng(3).bytes(5 * BLOCK + 17)


@pytest.fixture
def site() -> Iterator[Site]:
    with serving(Site({"/f": CONTENT})) as found:
        yield found


def _opened(site: Site) -> RangedFile:
    door = Door.to([site.address])
    door.wait_s = 0.01
    return RangedFile(door, f"{site.address}/f")


def test_reads_are_those_of_the_file(site: Site) -> None:
    remote, local = _opened(site), io.BytesIO(CONTENT)
    random = np.random.default_rng(5)
    for _ in range(60):
        at, size = int(random.integers(0, len(CONTENT) + 10)), int(random.integers(0, 2 * BLOCK))
        assert remote.seek(at) == local.seek(at)
        assert remote.read(size) == local.read(size)
    assert remote.seek(-5, io.SEEK_END) == len(CONTENT) - 5
    assert remote.read() == CONTENT[-5:]


def test_only_what_is_read_is_fetched_and_only_once(site: Site) -> None:
    file = _opened(site)
    for _ in range(3):
        file.seek(3 * BLOCK + 5)
        file.read(100)
    assert len(site.asked) == 2


def test_a_part_that_breaks_off_is_asked_for_again(site: Site) -> None:
    site.broken_after, site.breaks = 1000, 2
    assert _opened(site).read() == CONTENT


def test_a_part_that_stays_broken_is_refused_and_remembered(site: Site) -> None:
    file = _opened(site)
    site.broken_after, site.breaks = 1000, 99
    with pytest.raises(InputRefused, match="broke off"):
        file.read()
    assert file.failed


@pytest.mark.parametrize(
    ("wrong", "words"), [("ranges", "no parts"), ("changing", "changed"), ("wrong_part", "another part")]
)
def test_a_server_that_gives_something_else_is_refused(site: Site, wrong: str, words: str) -> None:
    setattr(site, wrong, wrong != "ranges")
    with pytest.raises(InputRefused, match=words):
        _opened(site).read()
