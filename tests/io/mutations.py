"""Changes a valid file as accidents and malice do."""

from __future__ import annotations

import copy
import random
from collections.abc import Iterator
from typing import Any

TOKENS = (b"nan", b"inf", b"-1", b"1e999", b"9" * 5000, b"", b"\0", b"\xff", b'"', b"'", b",", b"\n", b"[", b"}", b"null",
          b"=", b"\xe2\x80\xae", b"<", b"&", b"1e-320", b"\xc2\xb2")  # fmt: skip


def mutated(content: bytes, chance: random.Random) -> bytes:
    """`content` with one to six changes, half of them among its first 600 bytes."""
    data = bytearray(content)
    for _ in range(chance.choice((1, 1, 2, 3, 6))):
        if not data:
            break
        at = chance.randrange(min(len(data), 600) if chance.random() < 0.5 else len(data))
        way, token = chance.randrange(6), chance.choice(TOKENS)
        if way == 0:
            data[at] ^= 1 << chance.randrange(8)
        elif way == 1:
            del data[at:]
        elif way == 2:
            del data[at : at + chance.randrange(1, 64)]
        elif way == 3:
            other = chance.randrange(len(data))
            data[at:at] = data[other : other + chance.randrange(1, 200)]
        elif way == 4:
            data[at:at] = token
        else:
            data[at : at + max(1, len(token))] = token
    return bytes(data)


# In place of a number, and of anything else.
NUMBERS = (0, -1, 1e9, -1e9, 1e-300, 1e300, 180, -90, 90.0001, None, "x", float("nan"), float("inf"), [], {}, True)
VALUES = (
    None,
    "",
    0,
    -1,
    1e308,
    "x",
    [1, 2],
    {"a": 1},
    True,
    "1e999",
    "nan",
    "\u202e",
    "x" * 3000,
    10**30,
    "5 ft",
    "yes",
)


def changed(document: Any, chance: random.Random) -> Any:
    """A copy of what JSON holds with one to three parts taken out, doubled, or swapped for hostile values."""
    found = copy.deepcopy(document)
    for _ in range(chance.choice((1, 1, 2, 3))):
        places = list(_places(found))
        if not places:
            break
        inside, key = chance.choice(places)
        how = chance.random()
        if how < 0.15 and isinstance(inside, list):
            inside.insert(key, copy.deepcopy(inside[key]))
        elif how < 0.3:
            del inside[key]
        else:
            number = isinstance(inside[key], int | float)
            inside[key] = copy.deepcopy(chance.choice(NUMBERS if number else (*VALUES, *NUMBERS)))
    return found


def _places(value: Any) -> Iterator[tuple[Any, Any]]:
    """(what holds it, its key) of every part of a document."""
    keys = list(value) if isinstance(value, dict) else range(len(value)) if isinstance(value, list) else ()
    for key in keys:
        yield value, key
        yield from _places(value[key])
