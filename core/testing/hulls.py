# SPDX-License-Identifier: GPL-3.0-or-later
"""Convex hulls in a picture: the oracle by which planted kisses are set and judged. Nothing of the outlines is used."""

import numpy as np

Array = np.ndarray
#: Eight ways round, counter-clockwise, (2, 8).
WAYS = np.array([[1, 1, 0, -1, -1, -1, 0, 1], [0, 1, 1, 1, 0, -1, -1, -1]], float)


def hull(points: Array) -> Array:
    """Convex hull (k, 2), counter-clockwise, of points (n, 2)."""
    ordered = sorted(map(tuple, _outermost(points).tolist()))

    def half(run: list[tuple[float, ...]]) -> list[tuple[float, ...]]:
        out: list[tuple[float, ...]] = []
        for p in run:
            while len(out) > 1 and (
                (out[-1][0] - out[-2][0]) * (p[1] - out[-2][1]) <= (out[-1][1] - out[-2][1]) * (p[0] - out[-2][0])
            ):
                out.pop()
            out.append(p)
        return out[:-1]

    return np.array(half(ordered) + half(ordered[::-1]))


def _outermost(points: Array) -> Array:
    """Of many points those that may be corners: not those that lie well inside of the eight farthest in eight ways."""
    if len(points) < 40:
        return points
    at = (points @ WAYS).argmax(0)
    far = points[at[at != np.roll(at, 1)]]
    along = np.roll(far, -1, axis=0) - far
    # how far each point lies to the left of each side, as an area
    left = np.multiply.outer(points[:, 1], along[:, 0]) - np.multiply.outer(points[:, 0], along[:, 1])
    left -= along[:, 0] * far[:, 1] - along[:, 1] * far[:, 0]
    return points[(left <= 1e-9 * np.abs(far).max() ** 2).any(1)]


def signed_gap(a: Array, b: Array) -> float:
    """Gap of two convex hulls (n, 2) and (m, 2), in their unit: distance where they are apart, minus the least shift
    that parts them where they overlap."""
    along = [np.concatenate([p[1:], p[:1]]) - p for p in (a, b)]
    edges = np.concatenate(along)
    n = np.stack([edges[:, 1], -edges[:, 0]], -1) / np.hypot(edges[:, 0], edges[:, 1])[:, None]
    pa, pb = a @ n.T, b @ n.T
    best = float(np.maximum(pb.min(0) - pa.max(0), pa.min(0) - pb.max(0)).max())
    return best if best <= 0 else min(_far(a, b, along[1]), _far(b, a, along[0]))


def _far(points: Array, starts: Array, along: Array) -> float:
    """Distance of the nearest of points (n, 2) and sides (m, 2), told by starts and ways."""
    x, y = (np.subtract.outer(points[:, k], starts[:, k]) for k in (0, 1))
    ax, ay = along.T
    t = np.minimum(np.maximum((x * ax + y * ay) / (ax * ax + ay * ay), 0.0), 1.0)
    x -= t * ax
    y -= t * ay
    return float(np.sqrt((x * x + y * y).min()))
