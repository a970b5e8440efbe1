"""Distance of each cell from the nearest marked one.

Source: Felzenszwalb & Huttenlocher (2012) Theory of Computing 8:415-428: exact distances by the lower envelope of parabolas.
"""

import numpy as np

from tunnelsite.kernels.shared import shared

_BLOCK = 64  # columns or rows looked at side by side


@shared
def _fill_rows_away(mine, there, most, away):
    """Rows to the nearest marked cell in the same column, at most `most`."""
    rows, cols = there.shape
    for block in range(mine[0], mine[1]):
        first, last = block * _BLOCK, min(block * _BLOCK + _BLOCK, cols)
        for row in range(rows):
            for col in range(first, last):
                before = away[row - 1, col] + 1 if row > 0 else most
                away[row, col] = 0 if there[row, col] else min(before, most)
        for row in range(rows - 2, -1, -1):
            for col in range(first, last):
                away[row, col] = min(away[row, col], away[row + 1, col] + 1)


@shared
def _distances(mine, away, most, cell_m, distance):
    """Distance [m] to the nearest such cell, from the rows away in every column."""
    rows, cols = away.shape
    per_row = cell_m[1] / cell_m[0]
    reach = most * cell_m[1]
    for block in range(mine[0], mine[1]):
        place, start = np.empty(cols, np.int64), np.empty(cols + 1)
        for row in range(block * _BLOCK, min(block * _BLOCK + _BLOCK, rows)):
            line = away[row]
            count = 0
            for col in range(cols):
                if line[col] >= most:
                    continue
                high = (line[col] * per_row) ** 2
                from_here = -np.inf
                while count > 0:  # the parabolas that this one lies below from their start on are never the lowest
                    other = place[count - 1]
                    rest = high + col * col - ((line[other] * per_row) ** 2 + other * other)
                    from_here = rest / (2.0 * (col - other))
                    if from_here > start[count - 1]:
                        break
                    count -= 1
                    from_here = -np.inf
                place[count], start[count] = col, from_here
                count += 1
            k = 0
            for col in range(cols):
                if count == 0:
                    distance[row, col] = reach
                    continue
                while k + 1 < count and start[k + 1] < col:
                    k += 1
                along = col - place[k]
                found = np.sqrt(along * along + (line[place[k]] * per_row) ** 2) * cell_m[0]
                distance[row, col] = min(found, reach)


def rows_away(there, cell_m, most_m):
    """Return (rows to the nearest marked cell of the same column [rows, cols], the most of them), in 16 bits where these will do.

    Arguments as in `distance_to`.
    """
    rows = np.ceil(most_m / cell_m[1]) + 1
    most = np.int16(rows) if rows < 32_000 else np.int32(rows)
    away = np.full(np.shape(there), most)
    _fill_rows_away(-(-away.shape[1] // _BLOCK), there, most, away)
    return away, most


def from_rows_away(away, most, cell_m, distance):
    """Fill `distance` float32 [rows, cols] [m] from some rows of `rows_away` and the most of them; no row depends on another."""
    _distances(-(-len(away) // _BLOCK), away, most, (float(cell_m[0]), float(cell_m[1])), distance)


def distance_to(there, cell_m, most_m):
    """Return the distance of each cell's middle from that of the nearest marked cell.

    Arguments: there: (rows, cols) bool; cell_m: (east, north) spacing [m]; most_m: greater distances are given as this [m].
    Return: (rows, cols) float32 [m].
    """
    away, most = rows_away(there, cell_m, most_m)
    distance = np.empty(away.shape, np.float32)
    from_rows_away(away, most, cell_m, distance)
    return np.minimum(distance, np.float32(most_m), out=distance)
