"""Slow, obvious references for the footprint kernels: loops over placements, whole windows, float64."""

import numpy as np


def coverage(size):
    """Overlap of [-size/2, size/2] with every cell [k - 1/2, k + 1/2]."""
    k = np.arange(-int(size) - 2, int(size) + 3)
    weight = np.clip(np.minimum(k + 0.5, size / 2) - np.maximum(k - 0.5, -size / 2), 0.0, None)
    keep = weight > 1e-9
    return k[keep], weight[keep]


def windows(layer, length, width):
    """Yield row, column, heights, weights, u, v of every placement inside the array and off its gaps."""
    ku, wu = coverage(length)
    kv, wv = coverage(width)
    weights = np.outer(wv, wu)
    v, u = np.meshgrid(kv, ku, indexing="ij")
    for r in range(-kv[0], layer.shape[0] - kv[-1]):
        for c in range(-ku[0], layer.shape[1] - ku[-1]):
            z = layer[r + kv[0] : r + kv[-1] + 1, c + ku[0] : c + ku[-1] + 1].astype(np.float64)
            if np.isfinite(z).all():
                yield r, c, z.ravel(), weights.ravel(), u.ravel().astype(float), v.ravel().astype(float)


def planes(ground, length, width, cell):
    """Weighted least squares by numpy.linalg.lstsq at every placement: mean, along, across, rms, crown."""
    out = np.full((5, *ground.shape), np.nan)
    for r, c, z, w, u, v in windows(ground, length, width):
        root = np.sqrt(w)
        terms = np.stack([np.ones_like(u), u, v], axis=1)
        fit = np.linalg.lstsq(terms * root[:, None], (z - z.mean()) * root, rcond=None)[0]
        residual = z - z.mean() - terms @ fit
        p = v**2 - np.average(v**2, weights=w)
        quadratic = np.linalg.lstsq((p * root)[:, None], residual * root, rcond=None)[0][0]
        rms = np.sqrt(np.average(residual**2, weights=w))
        crown = quadratic * (0.0 - (width / 2) ** 2)
        out[:, r, c] = z.mean() + fit[0], fit[1] / cell, -fit[2] / cell, rms, crown
    return out


def felt(ground, cell):
    """Ground averaged over a metre, cell by cell, and the spacing of heights; a square with a gap leaves the cell's own."""
    step = max(1, int(1.0 / cell + 1e-9))
    if step == 1:
        return ground, 1
    out = ground.astype(float).copy()
    for r, c, z, w, *_ in windows(ground, 1.0 / cell, 1.0 / cell):
        out[r, c] = (z * w).sum() / w.sum()
    return out, step


def edge_depths(ground, centre, half, over):
    """Heights less a plane over(height, u, v) at the middles of cells on a pad, where rows and columns meet its edges, and at
    its corners; bilinear; a height that is not known counts as its neighbour on the pad. half: half the pad [heights]."""

    def height(row, col, low):
        r, c = centre[0] + row, centre[1] + col
        inside = 0 <= r < ground.shape[0] and 0 <= c < ground.shape[1]
        if inside and np.isfinite(ground[r, c]):
            return ground[r, c]
        off = [abs(k) > most for k, most in zip((row, col), low, strict=True)]
        if all(off) or off[1]:
            return height(row, col - int(np.sign(col)), low)
        return height(row - int(np.sign(row)), col, low)

    found = []
    places = [sorted({*range(-int(h + 1e-9), int(h + 1e-9) + 1), -h, h}) for h in half]
    for u in places[0]:
        for v in places[1]:
            low = [int(np.floor(h + 1e-9)) for h in half[::-1]]
            near = [int(np.floor(abs(k) + 1e-9)) for k in (v, u)]
            part, side = [abs(v) - near[0], abs(u) - near[1]], [int(np.sign(v)), int(np.sign(u))]
            ends = [[side[0] * (near[0] + i), side[1] * (near[1] + j)] for i in (0, 1) for j in (0, 1)]
            shares = [(1 - part[0], part[0])[i] * (1 - part[1], part[1])[j] for i in (0, 1) for j in (0, 1)]
            z = sum(w * height(*end, low) for w, end in zip(shares, ends, strict=True) if w > 1e-12)
            found.append(over(z, u, v))
    return np.array(found)


def grading(ground, length, width, cell, max_slope, shrink, ripple=0.0, at=None):
    """Cut, fill, deepest cut and fill, level, slopes and share kept at every placement, or `at` one of them (cells
    of a metre or more); level by bisection."""
    ground, step = felt(ground.astype(float), cell)
    if at is not None:
        return _graded_nodes(ground, (length, width), cell, (max_slope, shrink, ripple), at)[:, *at]
    every = np.full((8, *ground.shape), np.nan)
    for top in range(step):
        for left in range(step):
            part = ground[top::step, left::step]
            every[:, top::step, left::step] = _graded_nodes(
                part, (length / step, width / step), cell * step, (max_slope, shrink, ripple)
            )
    return every


def _graded_nodes(ground, size, cell, asked, at=None):
    length, width = size
    max_slope, shrink, ripple = asked
    out = np.full((8, *ground.shape), np.nan)
    for r, c, z, w, u, v in windows(ground, length, width):
        if at is not None and (r, c) != tuple(at):
            continue
        root = np.sqrt(w)
        terms = np.stack([np.ones_like(u), u, v], axis=1)
        fit = np.linalg.lstsq(terms * root[:, None], (z - z.mean()) * root, rcond=None)[0]
        east, south = np.clip(fit[1:] / cell, -max_slope, max_slope)
        natural = z.mean() + terms @ fit
        square = (w * (z - natural) ** 2).sum() / w.sum()
        kept = np.sqrt(max(1 - ripple**2 / square, 0.0)) if ripple > 0 else 1.0
        over = natural + kept * (z - natural) - (east * u + south * v) * cell
        low, high = over.min(), over.max()
        for _ in range(200):
            level = (low + high) / 2
            d = over - level
            if (w * np.maximum(d, 0)).sum() > shrink * (w * np.maximum(-d, 0)).sum():
                low = level
            else:
                high = level
        d = over - level
        cut, fill = (w * np.maximum(d, 0)).sum() * cell**2, (w * np.maximum(-d, 0)).sum() * cell**2

        middle = z.mean()

        def depth(height, at_u, at_v, fit=fit, middle=middle, kept=kept, level=level, slopes=(east, south)):
            plane = middle + fit @ [1.0, at_u, at_v]
            return plane + kept * (height - plane) - level - (slopes[0] * at_u + slopes[1] * at_v) * cell

        def bare(height, at_u, at_v, level=level, slopes=(east, south)):
            return height - level - (slopes[0] * at_u + slopes[1] * at_v) * cell

        d, raw = (edge_depths(ground, (r, c), (length / 2, width / 2), over) for over in (depth, bare))
        far = 3 * ripple  # what stands out farther than errors reach stays
        deepest = max(d.max(), raw.max() - far, 0), max(-d.min(), -raw.min() - far, 0)
        out[:, r, c] = cut, fill, *deepest, level, east, -south, kept
    return out


def sky_tables(azimuths_deg, nodes):
    """Tables of the two sky views of a level plane [2, n azimuths, nodes]: mean of cos^2 h and of 1 - sin h, even azimuths."""
    sine = np.linspace(0.0, 1.0, nodes)
    share = np.full((len(azimuths_deg), 1), 1.0 / len(azimuths_deg))
    return np.stack([share * (1.0 - sine**2), share * (1.0 - sine)])


def profile_share(horizon_deg, tables):
    """Share of each table [n tables, n azimuths, nodes] that one horizon [n azimuths] leaves free."""
    sine = np.sin(np.radians(np.maximum(horizon_deg, 0.0)))
    nodes = np.linspace(0.0, 1.0, tables.shape[2])
    left = [sum(np.interp(s, nodes, row) for s, row in zip(sine, table, strict=True)) for table in tables]
    return np.array(left) / tables[:, :, 0].sum(axis=1)
