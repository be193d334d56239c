# SPDX-License-Identifier: GPL-3.0-or-later
"""Single drawings at which a path breaks: one out of place, or a corner.

Both stand out of the fourth differences of a path, each by a shape of its own, where smooth motion makes neither; what
they must stand out of is what the same path does within 0.75 s anyway.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from .. import body
from ..numeric.rotation import cross, dot, norm
from ..numeric.spacing import CLEAN, CORNER, SPIKE, WIGGLE, agitation, largest_near, matched, white_noise
from ..shot import Character
from ..study import Study, measure
from .ticks import Row, Ticks, ticks

Array = np.ndarray

#: Feet are led by the ground, so their paths may break.
PARTS = ("pelvis", "chest", "head", "hand.L", "hand.R")
#: Where the note goes: to the nearest to the root that shows this share of the largest.
OWNS = 0.6
#: Legs a second by which a drawing is out of place at least, times the seconds of one: 0.004 legs at 24.
LEAST = 0.1
#: Legs under which a break is never more than low: single spikes of raw capture reach that.
LEAST_SURE = 0.008
#: A drawing out of place lies along its path, and is a matter of spacing, above this cosine.
ALONG = 0.7
#: Least step on both sides of a corner, legs a second.
UNSLOWED = 0.4
#: Shares that differ by less than about this fit alike: of one shape the other explains 95 % too.
FIT = 0.03
#: Drawings at both ends of the shot about which too little is known.
EDGE = 3


@dataclass(frozen=True)
class Gate:
    """What a break must be to count. share: of the departures around it that its shape explains; noise: times the
    motion's own restlessness; lone: times the largest other departure within 0.75 s; dip: of a corner, the smaller step
    at it over the smaller of the two beside; speed: of the smaller step, legs a second."""

    share: float
    noise: float
    lone: float
    dip: float = 0.0
    speed: float = 0.0

    def stands_out(self, far: float, noise: float, lone: float) -> bool:
        """Whether a break of size ``far`` stands out of the restlessness and of the largest other departure."""
        return far >= max(self.noise * noise, self.lone * lone)


OUT_OF_PLACE = Gate(0.9, 3.0, 0.7), Gate(0.95, 8.0, 1.5)
CORNERS = Gate(0.75, 5.0, 1.0, 0.6, UNSLOWED), Gate(0.85, 8.0, 1.5, 0.7, 0.5)
#: Along its path one drawing makes a long step and a short one of two that were alike: by this share of a step at
#: least, but where it is so many times the restlessness; and by the second a less clear shape counts too, low.
HITCH, EVIDENT, CLEAR = 0.1, 12.0, 0.2
CLEAR_HITCH = Gate(0.85, 4.0, 0.3)
#: The same, so far out of all that is near that its trace need not be as clear.
LONE_HITCH = Gate(0.65, 10.0, 3.0)
#: A sudden corner counts, low, near larger departures as well, for motion that is broken elsewhere hides none: it turns
#: by so many degrees, holds this share of all turning within two drawings, and changes the step by this factor more
#: than any of them. Noise bends the path beside it as well: on motion that has noise of its own the last two are less,
#: for a sharper turn.
SUDDEN, SUDDEN_IN_NOISE = (30.0, 0.6, 2.0), (45.0, 0.45, 1.5)
SUDDEN_CORNER = Gate(0.6, 2.0, 0.3, 0.7, UNSLOWED)
#: A corner of so many degrees and so far out of all that is near need not be as much sharper than the turns beside it,
#: low: where a part turns slowly, less bends its path as much.
SHARP, LONE_CORNER = 45.0, Gate(0.75, 10.0, 3.0, 0.7, UNSLOWED)


@dataclass(frozen=True)
class Break:
    """One break of one path, at drawing ``drawing``.

    kind: 'along' (one drawing too far or too near on its path), 'aside' (one drawing beside it) or 'corner'. off (3,):
    legs by which the drawing is off the place where it should land. ratio: the same over the mean step around it, of
    'along'. turn: degrees by which the path turns there. sure: it stands out so far that it may be more than low.
    share: how much of the departures around it its shape explains. parts: those in which the same break is seen.
    """

    part: str
    drawing: int
    stride: int
    kind: str
    off: Array
    ratio: float
    turn: float
    sure: bool
    share: float
    parts: tuple[str, ...] = ()

    @property
    def size(self) -> float:
        return float(norm(self.off))


@measure(uses=(ticks,))
def breaks(study: Study, character: Character) -> tuple[Break, ...]:
    """In order of time, one for a break that several parts show."""
    known: Ticks = study.of(ticks, character)
    found = [b for row in known.rows for b in _in_row(known, row)]
    return tuple(sorted(_owned(found), key=lambda b: b.drawing))


def _in_row(known: Ticks, row: Row) -> Iterator[Break]:
    if row.places.shape[1] < 2 * EDGE + 2:
        return
    rows = [k for k, part in enumerate(known.parts) if part in PARTS]
    if row.stride == 1:
        yield from _out_of_place(known, row, rows)
    yield from _corners(known, row, rows)


def _out_of_place(known: Ticks, row: Row, rows: list[int]) -> Iterator[Break]:
    """Read on every drawing only: on every second one a lone drawing is a pair's half."""
    low, sure = OUT_OF_PLACE
    off, share = matched(row.departures[rows], SPIKE)
    size = norm(off)
    least = max(LEAST / row.rate, 1e-9)
    corner, wiggle = (matched(row.departures[rows], shape)[1] for shape in (CORNER, WIGGLE))
    # where all drawings go to and fro, none of them is the one out of place
    lone_one = (share >= LONE_HITCH.share) & (share >= wiggle)
    for p, i in _inside(np.argwhere(lone_one & (size >= least)), size.shape[1]):
        steps = row.steps[rows[p], i - 2 : i + 2]
        lengths = norm(steps)
        far, near = float(size[p, i]), row.sizes[rows[p]]
        noise, lone = agitation(near, i, i, row.around), largest_near(near, i, row.around)
        evident = bool(row.seen and share[p, i] >= sure.share and far >= LEAST_SURE
                       and sure.stands_out(far, max(noise, _closely(row, near, i)), lone))
        # where a path turns back, frames about the turn leave much the same trace
        if dot(steps[0], steps[3]) < 0 and not evident:
            continue
        chord = steps[1] + steps[2]
        along = abs(float(dot(off[p, i], chord))) / max(float(norm(chord)), 1e-12)
        mean = max(float(lengths[0] + lengths[3]) / 2, 1e-12)
        hitch = _hitch(lengths) / mean
        kind = "along" if along >= ALONG * far else "aside"
        stands_out = bool(share[p, i] >= low.share) and low.stands_out(far, noise, lone)
        if kind == "along":
            stands_out = stands_out and (hitch > HITCH or far >= EVIDENT * noise)
            gate = CLEAR_HITCH if share[p, i] >= CLEAR_HITCH.share else LONE_HITCH
            stands_out = stands_out or row.seen and hitch > CLEAR and gate.stands_out(far, noise, lone)
        if not stands_out or kind == "aside" and lengths[1:3].min() * row.rate < UNSLOWED:
            continue
        # a sudden change of speed, as of a push-off, looks much like it, but more like a corner
        if kind == "along" and share[p, i] < corner[p, i] - (FIT if hitch > CLEAR else 0.0):
            continue
        yield Break(
            known.parts[rows[p]], row.drawing(i), 1, kind, off[p, i], along / mean, _turn(steps[1], steps[2]),
            evident, float(share[p, i]),
        )


def _closely(row: Row, sizes: Array, i: int) -> float:
    """How restless the motion is within half a second of drawing i: what shakes for no longer is calm before and
    after."""
    return agitation(sizes, i, i, row.around * 2 // 3)


def _hitch(lengths: Array) -> float:
    """By how much a long step stands beside a short one, or a short one beside a long, between two that are neither:
    of four steps (4,) the least that either leads from its neighbor, and half of what lies between them."""
    a, b, c, d = lengths.tolist()
    return float(max(min(b - a, d - c, (b - c) / 2), min(a - b, c - d, (c - b) / 2)))


def _corners(known: Ticks, row: Row, rows: list[int]) -> Iterator[Break]:
    low, sure = CORNERS
    change, share = matched(row.departures[rows], CORNER)
    noisy = [white_noise(row.sizes[k]) > CLEAN for k in rows]
    lone_drawing = matched(row.departures[rows], SPIKE)[1] if row.stride > 1 else np.zeros(share.shape)
    size = norm(change) / 3
    steps = row.steps[rows]
    lengths = norm(steps)
    smaller = np.minimum(lengths[:, :-1], lengths[:, 1:])
    cosine = dot(steps[:, :-1], steps[:, 1:]) / np.maximum(lengths[:, :-1] * lengths[:, 1:], 1e-18)
    fast = np.zeros(size.shape, bool)
    fast[:, 1:-1] = (smaller * row.rate >= low.speed) & (cosine < np.cos(np.radians(LEAST_TURN)))
    for p, i in _inside(np.argwhere((share >= SUDDEN_CORNER.share) & fast), size.shape[1]):
        near = row.sizes[rows[p]]
        far = float(size[p, i])
        noise, lone = agitation(near, i, i, row.around), largest_near(near, i, row.around)
        a, b, c, d = steps[p, i - 2 : i + 2]
        turn = _turn(b, c)
        dip = float(smaller[p, i - 1]) / max(float(min(lengths[p, i - 2], lengths[p, i + 1])), 1e-12)
        stands_out = share[p, i] >= low.share and low.stands_out(far, noise, lone) and dip >= low.dip
        sudden = row.seen and SUDDEN_CORNER.stands_out(far, noise, lone) and dip >= SUDDEN_CORNER.dip
        kinds = (SUDDEN, SUDDEN_IN_NOISE) if noisy[p] else (SUDDEN,)
        if not stands_out and not (sudden and any(_sudden(steps[p, i - 3 : i + 3], *kind) for kind in kinds)):
            continue
        # on every second drawing one that is out of place by itself bends the path as a corner does
        evident = bool(row.seen and share[p, i] >= max(sure.share, lone_drawing[p, i])
                       and far >= LEAST_SURE and sure.stands_out(far, max(noise, _closely(row, near, i)), lone)
                       and dip >= sure.dip and smaller[p, i - 1] * row.rate >= sure.speed)
        clear = stands_out and turn >= SHARP and LONE_CORNER.stands_out(far, noise, lone) and dip >= LONE_CORNER.dip
        sharper = SHARPER_SURE if evident else SHARPER_CLEAR if clear else SHARPER
        if turn < sharper * max(_turn(a, b), _turn(c, d)):
            continue
        yield Break(
            known.parts[rows[p]], row.drawing(i), row.stride, "corner", -change[p, i] / 3, 0.0, turn, evident,
            float(share[p, i]),
        )


#: Degrees of a corner at least; it is sharper than the turns before and after it by this factor, or by less where it
#: may be more than low: a jump between two frames bends the path at both.
LEAST_TURN, SHARPER, SHARPER_SURE, SHARPER_CLEAR = 20.0, 2.0, 1.5, 1.25


def _sudden(steps: Array, turn: float, share: float, change: float) -> bool:
    """Whether the turning and changing of six steps (6, 3) lies between the middle two: ``turn`` degrees, this share of
    all turning, and a change this many times any other."""
    turns = np.array([_turn(a, b) for a, b in pairwise(steps)])
    changes = norm(np.diff(steps, axis=0))
    around = turns @ np.array([0.5, 1.0, 1.0, 1.0, 0.5])
    return bool(turns[2] >= max(turn, share * around)
                and changes[2] >= change * np.delete(changes, 2).max())


def _turn(a: Array, b: Array) -> float:
    """Degrees between two steps."""
    across = float(norm(cross(a, b)))
    return float(np.degrees(np.arctan2(across, float(dot(a, b)))))


def _inside(found: Array, count: int) -> list[tuple[int, int]]:
    return [(p, i) for p, i in found.tolist() if EDGE <= i < count - EDGE]


def _owned(found: list[Break]) -> list[Break]:
    """One break of those that parts of one chain show within two drawings at the row's own rate: of the nearest to the
    root that has most of the largest. Where several kinds or phases tell it, the surest whose shape fits best."""
    groups: list[list[Break]] = []
    for one in sorted(found, key=lambda b: b.drawing):
        if groups and one.drawing - groups[-1][-1].drawing <= max(2, one.stride):
            groups[-1].append(one)
        else:
            groups.append([one])
    return [owner for group in groups for owner in _owners(group)]


def _owners(group: list[Break]) -> Iterator[Break]:
    best: dict[str, Break] = {}
    for one in group:
        old = best.get(one.part)
        if old is None or _told_by(one) > _told_by(old):
            best[one.part] = one
    while best:
        largest = max(best.values(), key=lambda b: (b.sure, b.size))
        above = [b for b in best.values() if b.size >= OWNS * largest.size and b.sure == largest.sure
                 and largest.part in body.descendants(b.part)]
        owner = max(above, key=lambda b: len(body.descendants(b.part)), default=largest)
        rest = tuple(p for p in PARTS if p in best and _kin(p, owner.part) and p != owner.part)
        for part in (owner.part, *rest):
            del best[part]
        yield replace(owner, parts=(owner.part, *rest))


def _told_by(one: Break) -> tuple[bool, bool, float, float]:
    """Which of several breaks of one part tells it: a clear difference in how well the shapes fit goes before size."""
    return one.sure, one.stride == 1, round(one.share / FIT) * FIT, one.size


def _kin(a: str, b: str) -> bool:
    """Whether one of the two hangs from the other."""
    return a in body.descendants(b) or b in body.descendants(a)
