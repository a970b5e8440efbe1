"""The QR code of an address, taken apart again by the rules of ISO/IEC 18004."""

from __future__ import annotations

import re

import numpy as np

from tunnelsite.desk.code_to_scan import QUIET, scan_code

ADDRESS = "http://192.168.178.123:49152/abcdefghjk"
ALIGNED = {25: 18, 29: 22, 33: 26, 37: 30}  # side of versions 2 to 5: centre of the one alignment pattern (table E.1)
MASKS = [
    lambda i, j: (i + j) % 2, lambda i, j: i % 2, lambda i, j: j % 3, lambda i, j: (i + j) % 3, lambda i, j: (i // 2 + j // 3) % 2,
    lambda i, j: i * j % 2 + i * j % 3, lambda i, j: (i * j % 2 + i * j % 3) % 2, lambda i, j: ((i + j) % 2 + i * j % 3) % 2,
]  # fmt: skip


def modules(address: str) -> np.ndarray:
    code = scan_code(address)
    cells = np.zeros((code.side, code.side), bool)
    drawn = re.findall(r"M(\d+) (\d+)h1v1h-1z", code.path)
    assert "".join(f"M{col} {row}h1v1h-1z" for col, row in drawn) == code.path
    for col, row in drawn:
        cells[int(row), int(col)] = True
    return cells


def text_in(cells: np.ndarray) -> str:
    """The text of a code of one block of bytes, version 2 or 3, read without any correction of errors."""
    side = len(cells)
    fixed = np.zeros(cells.shape, bool)
    for rows, cols in ((slice(9), slice(9)), (slice(9), slice(side - 8, side)), (slice(side - 8, side), slice(9))):
        fixed[rows, cols] = True  # finders, separators, format
    fixed[6] = fixed[:, 6] = True  # timing
    middle = ALIGNED[side]
    fixed[middle - 2 : middle + 3, middle - 2 : middle + 3] = True
    told = [int(cells[8, col]) for col in (2, 3, 4)]
    mask = MASKS[int("".join(map(str, told)), 2) ^ 0b101]
    bits, up = [], True
    for right in [*range(side - 1, 6, -2), 5, 3, 1]:
        for row in range(side - 1, -1, -1) if up else range(side):
            bits += [int(cells[row, c] ^ (mask(row, c) == 0)) for c in (right, right - 1) if not fixed[row, c]]
        up = not up
    stream = "".join(map(str, bits))
    assert stream[:4] == "0100"  # bytes
    count = int(stream[4:12], 2)
    return bytes(int(stream[12 + 8 * k : 20 + 8 * k], 2) for k in range(count)).decode()


def test_the_code_holds_the_address() -> None:
    cells = modules(ADDRESS)
    assert not np.delete(cells, np.s_[QUIET:-QUIET], 0).any() and not np.delete(cells, np.s_[QUIET:-QUIET], 1).any()
    assert text_in(cells[QUIET:-QUIET, QUIET:-QUIET]) == ADDRESS


def test_another_address_is_another_code() -> None:
    assert not np.array_equal(modules(ADDRESS), modules(ADDRESS[:-1] + "m"))
