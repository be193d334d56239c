# SPDX-License-Identifier: GPL-3.0-or-later
"""What lies under points: the highest triangle hit by a line straight down."""
import numpy as np

Array = np.ndarray

# At most this many point-triangle pairs are tried at once: 2^18 pairs of doubles are a few MB.
_BATCH = 1 << 18


def drop(points: Array, triangles: Array, up: Array, above: float) -> tuple[Array, Array]:
    """The height of the surface under each point, and which triangle that is.

    points: (N, 3) m; triangles: (T, 3, 3) m; up: (3,) unit; above: m, how far over the point the surface may lie and
    still count as under it (a sole sinks in). Returns height along up (N,), NaN where nothing lies below, and triangle
    index (N,), -1.
    """
    n = len(points)
    best = np.full(n, -np.inf)
    which = np.full(n, -1)
    if len(triangles) == 0 or n == 0:
        return np.full(n, np.nan), which
    seed = np.array([1.0, 0, 0]) if abs(up[0]) < 0.9 else np.array([0.0, 1.0, 0])
    e1 = seed - seed @ up * up
    e1 /= np.linalg.norm(e1)
    plane = np.stack([e1, np.cross(up, e1)], -1)
    flat, high = points @ plane, points @ up
    tri, tall = triangles @ plane, triangles @ up
    edge1, edge2 = tri[:, 1] - tri[:, 0], tri[:, 2] - tri[:, 0]
    area = edge1[:, 0] * edge2[:, 1] - edge1[:, 1] * edge2[:, 0]
    usable = np.abs(area) > 1e-14                       # walls seen edge-on carry nothing
    solid = np.flatnonzero(usable)
    # one column each: searching a row of two is many times slower
    (left, near_side), (right, far_side) = (np.ascontiguousarray(e[solid].T) for e in (tri.min(1), tri.max(1)))
    # along the way that they go farthest: a batch then lies over few triangles
    longest = int(np.argmax(np.ptp(flat, axis=0)))
    order = np.argsort(flat[:, longest], kind="stable") if len(triangles) > 64 else np.arange(n)
    size = 256 if len(triangles) > 64 else max(1, _BATCH // len(triangles))
    for at in range(0, n, size):                        # neighbours in the plane share the few triangles near them
        rows = order[at:at + size]
        p = flat[rows]
        (x0, y0), (x1, y1) = p.min(0), p.max(0)
        near = solid[(left <= x1) & (right >= x0) & (near_side <= y1) & (far_side >= y0)]
        if not len(near):
            continue
        d = p[:, None] - tri[None, near, 0]
        a = (d[..., 0] * edge2[near, 1] - d[..., 1] * edge2[near, 0]) / area[near]
        b = (edge1[near, 0] * d[..., 1] - edge1[near, 1] * d[..., 0]) / area[near]
        inside = (a >= -1e-9) & (b >= -1e-9) & (a + b <= 1 + 1e-9)
        h = tall[near, 0] + a * (tall[near, 1] - tall[near, 0]) + b * (tall[near, 2] - tall[near, 0])
        h = np.where(inside & (h <= high[rows, None] + above), h, -np.inf)
        pick = h.argmax(1)
        found = h[np.arange(len(rows)), pick]
        better = found > best[rows]
        best[rows[better]] = found[better]
        which[rows[better]] = near[pick[better]]
    return np.where(np.isfinite(best), best, np.nan), which
