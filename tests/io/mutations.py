"""Changes a valid file as accidents and malice do."""

from __future__ import annotations

import random

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
