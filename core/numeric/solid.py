# SPDX-License-Identifier: GPL-3.0-or-later
"""How much room a mesh takes up, and whose it is: volumes, centers and second moments of its labeled parts.

Characters are rarely one closed skin: coats lie over bodies, eyes lie in heads, a shirt is a tube without ends. So room
is counted in cells of a grid. Lines along each of the three axes go in and out of the mesh; a cell is inside where most
of the lines through it say so that come out as often as they went in. What lies in two skins counts once; a hole lets
only the lines through it go astray; a sheet has no inside. A cell belongs to the label of the skin nearest to it.
"""

from dataclasses import dataclass

import numpy as np

from .rotation import exp
from .topology import weld

Array = np.ndarray

#: Cells along the longest side of the mesh. At 96 a cell of a person is 1.8 cm, and a forearm's volume is known to 2 %
#: (rms of twelve attitudes, 4 at most).
CELLS = 96
# Cells in the box about the mesh, at most: one as round as a ball would else take seconds.
_MOST = 300_000
# Rounds in which cells find a nearer seed, at most, and the share of them that may still change when it is good.
_SETTLE, _SETTLED = 8, 0.002

# The grid is turned against the world, by no round angle: faces and edges of symmetrical meshes then run along no line,
# and a wall that lies a little past a row of cells does so nowhere for long.
_TURN = exp(np.array([0.113, -0.171, 0.137]))


@dataclass(frozen=True)
class Room:
    """labels (N,) int that take up room; volume (N,) m3; center (N, 3) m; moments (N, 3, 3) m2, the mean of x x^T about
    the center. astray: share of all room that no label was near."""

    labels: Array
    volume: Array
    center: Array
    moments: Array
    astray: float


def room(places: Array, triangles: Array, labels: Array, cells: int = CELLS) -> Room:
    """Room that the parts of a mesh take up.

    places (V, 3) m; triangles (T, 3) vertex ids, wound alike in each shell, inward or outward; labels (V,) int,
    negative for none. Raises ValueError where shapes do not fit or a place is not finite.
    """
    places, triangles, labels = np.asarray(places, float), np.asarray(triangles, np.int64), np.asarray(labels)
    if places.ndim != 2 or places.shape[1] != 3 or not np.isfinite(places).all():
        raise ValueError(f"room: expected finite places (V, 3), got {places.shape}")
    if triangles.ndim != 2 or triangles.shape[1] != 3 or labels.shape != places.shape[:1]:
        raise ValueError(f"room: expected triangles (T, 3) and labels (V,), got {triangles.shape} and {labels.shape}")
    triangles, places = _outward(places, triangles), places @ _TURN.T
    size = float(np.ptp(places, axis=0).max()) if len(places) else 0.0
    if not len(triangles) or size <= 0:
        return Room(np.zeros(0, int), np.zeros(0), np.zeros((0, 3)), np.zeros((0, 3, 3)), 0.0)
    h = max(size / cells, float(np.prod(np.ptp(places, axis=0) + size / cells) / _MOST) ** (1 / 3))
    origin = places.min(0) - h
    grid = (places - origin) / h - 0.5  # cell middles at whole numbers
    shape = np.ceil(np.ptp(places, axis=0) / h).astype(int) + 2
    yes, asked = np.zeros(shape, np.int8), np.zeros(shape, np.int8)
    seeds: list[Array] = []
    owners: list[Array] = []
    for axis in range(3):
        inside, straight, at, owner = _lines(grid, triangles, labels, shape, axis)
        asked += straight
        yes += inside & straight
        seeds.append(at)
        owners.append(owner)
    within = np.argwhere(2 * yes > asked)
    whose = _nearest(within, shape, np.concatenate(seeds), np.concatenate(owners))
    return _summed(within, whose, origin + 0.5 * h, h)


def _outward(places: Array, triangles: Array) -> Array:
    """The triangles of shells that are wound inside out the other way round: else they would cancel what they
    overlap."""
    if not len(triangles):
        return triangles
    w = weld(places)[triangles]
    shell = np.arange(len(places))
    while True:  # each vertex takes the least number among its neighbors, and that of the one it points to
        least = shell[w].min(1)
        before = shell.copy()
        for k in range(3):
            np.minimum.at(shell, w[:, k], least)
        shell = shell[shell]
        if (shell == before).all():
            break
    of = shell[w[:, 0]]
    corner = places[triangles] - places[of][:, None]
    volume = np.bincount(of, (np.cross(corner[:, 0], corner[:, 1]) * corner[:, 2]).sum(1), len(places))
    return np.where((volume[of] < 0)[:, None], triangles[:, ::-1], triangles)


def _lines(grid: Array, triangles: Array, labels: Array, shape: Array, axis: int) -> tuple[Array, Array, Array, Array]:
    """Lines along one axis through all cell middles: which cells they call inside (shape) bool; whether each comes out
    as often as it goes in, broadcast to all its cells; the places (K, 3) at which they meet labeled skin, and whose
    that is (K,)."""
    a, b = (axis + 1) % 3, (axis + 2) % 3
    u, v, w = (grid[:, k][triangles] for k in (a, b, axis))
    area = (u[:, 1] - u[:, 0]) * (v[:, 2] - v[:, 0]) - (u[:, 2] - u[:, 0]) * (v[:, 1] - v[:, 0])
    first_u, first_v = np.ceil(u.min(1)).astype(int), np.ceil(v.min(1)).astype(int)
    wide, high = np.floor(u.max(1)).astype(int) - first_u + 1, np.floor(v.max(1)).astype(int) - first_v + 1
    many = np.where(np.abs(area) > 1e-12, wide.clip(0) * high.clip(0), 0)
    tri = np.repeat(np.arange(len(many)), many)
    index = np.arange(len(tri)) - np.repeat(np.cumsum(many) - many, many)
    i, j = first_u[tri] + index // high[tri], first_v[tri] + index % high[tri]
    du, dv = i - u[tri, 0], j - v[tri, 0]
    second = (du * (v[tri, 2] - v[tri, 0]) - dv * (u[tri, 2] - u[tri, 0])) / area[tri]
    third = (dv * (u[tri, 1] - u[tri, 0]) - du * (v[tri, 1] - v[tri, 0])) / area[tri]
    met = np.flatnonzero((second >= 0) & (third >= 0) & (second + third <= 1))
    tri, i, j, second, third = tri[met], i[met], j[met], second[met], third[met]
    depth = w[tri, 0] + second * (w[tri, 1] - w[tri, 0]) + third * (w[tri, 2] - w[tri, 0])
    size = [int(shape[k]) for k in (a, b, axis)]
    cell = np.ceil(depth).astype(int)
    steps = np.bincount((i * size[1] + j) * size[2] + cell, -np.sign(area[tri]), int(np.prod(size)))
    layers = np.cumsum(np.rint(steps).astype(np.int16).reshape(size), axis=2, dtype=np.int16)
    back = [(a, b, axis).index(k) for k in range(3)]
    straight = np.broadcast_to(layers[..., -1:] == 0, layers.shape)
    nearest = np.stack([1 - second - third, second, third]).argmax(0)
    owner = labels[triangles[tri, nearest]]
    place = np.stack([i, j, depth], 1)[:, back]
    own = owner >= 0
    return (layers != 0).transpose(back), straight.transpose(back), place[own], owner[own]


def _nearest(within: Array, shape: Array, seeds: Array, owners: Array) -> Array:
    """The owner of the seed nearest to each of the cells ``within`` (N, 3), but for a few; -1 where none can be reached
    inside."""
    n = len(within)
    number = np.full(shape + 2, n)  # with a rim, so that every cell has neighbors
    number[tuple((within + 1).T)] = np.arange(n)
    near = np.full(n, -1)  # which seed

    def offer(cells: Array, given: Array) -> Array:
        """Cells that have no seed yet take the nearest of those given to them; returns the cells that did."""
        rows = np.flatnonzero(near[cells] < 0)
        cells, given = cells[rows], given[rows]
        gap = ((within[cells] - seeds[given]) ** 2).sum(1)
        order = np.argsort(-gap, kind="stable")  # of several offers to one cell the nearest comes last, and stays
        near[cells[order]] = given[order]
        return np.unique(cells)

    # the cells about each seed begin; then each wave goes one cell farther, with the seeds of the wave before
    about = np.concatenate([number[tuple((np.floor(seeds).astype(int) + corner + 1).clip(0, shape + 1).T)]
                            for corner in np.ndindex(2, 2, 2)])
    given = np.tile(np.arange(len(seeds)), 8)
    steps = np.array([[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1], [0, 0, -1]])
    while len(about):
        rows = np.flatnonzero(about < n)
        fresh = offer(about[rows], given[rows])
        about = number[tuple((within[fresh][:, None] + steps + 1).reshape(-1, 3).T)]
        given = np.repeat(near[fresh], len(steps))
    # waves that met came from seeds in some order: each cell now takes its neighbors' seed where that is nearer
    reached = np.flatnonzero(near >= 0)
    gap = ((within[reached] - seeds[near[reached]]) ** 2).sum(1)
    for _ in range(_SETTLE):
        changed = 0
        for step in steps:
            beside = number[tuple((within[reached] + step + 1).T)]
            other = near[np.minimum(beside, n - 1)]
            rows = np.flatnonzero((beside < n) & (other >= 0) & (other != near[reached]))
            far = ((within[reached[rows]] - seeds[other[rows]]) ** 2).sum(1)
            better = np.flatnonzero(far < gap[rows])
            near[reached[rows[better]]], gap[rows[better]] = other[rows[better]], far[better]
            changed += len(better)
        if changed < _SETTLED * len(reached):
            break
    return np.where(near >= 0, owners[near] if len(owners) else -1, -1)


def _summed(within: Array, whose: Array, origin: Array, h: float) -> Room:
    labels = np.unique(whose[whose >= 0])
    places = origin + within * h
    count = np.array([(whose == label).sum() for label in labels], float)
    center = np.array([places[whose == label].mean(0) for label in labels]).reshape(-1, 3)
    moments = np.empty((len(labels), 3, 3))
    for k, label in enumerate(labels):
        off = places[whose == label] - center[k]
        moments[k] = off.T @ off / len(off) + np.eye(3) * h * h / 12  # and each cell's own
    astray = float((whose < 0).mean()) if len(whose) else 0.0
    return Room(labels, count * h**3, center @ _TURN, _TURN.T @ moments @ _TURN, astray)
