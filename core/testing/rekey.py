# SPDX-License-Identifier: GPL-3.0-or-later
"""A captured clip keyed anew as an animator keys: few keys, each limb its own, clamped Bezier curves, feet on goals.

The curves are evaluated by numeric.fcurve, which is Blender's own evaluation. Legs are solved to ankle goals; while a
foot
is planted its pivot (heel, then ball) stands still to the last digit, as a foot roll holds it. A proxy for hand-keyed
motion: no artist made it.
"""
from dataclasses import dataclass, field, replace

import numpy as np

from .. import body
from ..measures.contacts import Contacts, contacts
from ..measures.exposure import exposure
from ..measures.sole import carried, sole_of
from ..measures.turn import local_axes, parent_on
from ..numeric.fcurve import BEZIER, evaluate_channels
from ..numeric.rotation import about, angle_between, cross, dot, exp, log, seen_from, square_to, turned, unit
from ..numeric.spans import spans
from ..shot import SOLE_POINTS, Channel, Character, Keys, Shot, with_character
from ..study import Study
from . import edit

Array = np.ndarray

#: Keys are added where a limb errs most until it errs less than this: radians, and legs for places.
TURN_ERROR, PLACE_ERROR = np.radians(5.0), 0.02
RETURN = 0.5                            # s in which a foot that was pinned elsewhere comes back to the clip's path
LEAST_SECONDS = 0.16                    # keys of one limb stand no nearer than 4 frames of 24
FOOT_GAP = 2                            # of a foot's goal, frames: a step's lift is short, and must not be lost
#: A leg is never asked to reach farther than this share of its length, nor is its knee straighter before it is solved.
NEARLY, LEAST_BEND, LOWERINGS = 0.99, np.radians(10.0), 4
#: A foot whose heel lies this much higher over its ball than when it is flat, of a leg, rolls over the ball.
FLAT = 0.02
LIMBS = (("pelvis",), ("spine", "chest"), ("neck", "head"), ("clavicle.L", "upper_arm.L", "forearm.L", "hand.L"),
         ("clavicle.R", "upper_arm.R", "forearm.R", "hand.R"),
         ("thigh.L", "shin.L", "toe.L"), ("thigh.R", "shin.R", "toe.R"))
HEEL, BALL = SOLE_POINTS.index("heel"), SOLE_POINTS.index("ball")


@dataclass
class _Curves:
    """Columns of keys in the making."""
    frames: Array
    channels: list[Channel] = field(default_factory=list)
    rows: list[tuple[Array, Array, Array]] = field(default_factory=list)

    def add(self, bone: str, path: str, at: Array, values: Array) -> None:
        """Channels of ``values`` (F, N) with keys on the samples ``at``."""
        for k in range(values.shape[1]):
            self.channels.append(Channel("rig", "action", f'pose.bones["{bone}"].{path}', k, bone))
            x, y = self.frames[at], values[at, k]
            self.rows.append((x, y, clamped_slopes(x, y)))

    def keys(self) -> Keys:
        count = [len(x) for x, _, _ in self.rows]
        x, y, m = (np.concatenate([row[i] for row in self.rows]) for i in range(3))
        reach = np.concatenate([_reaches(row[0]) for row in self.rows])
        left = np.stack([x - reach[:, 0], y - m * reach[:, 0]], 1)
        right = np.stack([x + reach[:, 1], y + m * reach[:, 1]], 1)
        return Keys(tuple(self.channels), np.repeat(np.arange(len(count)), count), x, x, y, left, right,
                    np.full(len(x), BEZIER), plain=tuple("goal" not in c.bone for c in self.channels))


def rekeyed(shot: Shot) -> Shot:
    """The shot with its first character keyed anew."""
    old = shot.characters[0]
    new = _posed(shot, old)
    return replace(with_character(shot, old, new), name=f"{shot.name} keyed")


def clamped_slopes(x: Array, y: Array) -> Array:
    """Slopes at keys: through the neighbors, flat at extremes and at the ends, never overshooting."""
    if len(x) < 3:
        return np.zeros(len(x))
    chord = np.diff(y) / np.diff(x)
    through = (y[2:] - y[:-2]) / (x[2:] - x[:-2])
    most = 3 * np.minimum(np.abs(chord[:-1]), np.abs(chord[1:]))
    inner = np.where(chord[:-1] * chord[1:] > 0, np.sign(through) * np.minimum(np.abs(through), most), 0.0)
    return np.concatenate([[0.0], inner, [0.0]])


def _reaches(x: Array) -> Array:
    """Handle lengths (K, 2) in frames: a third of the way to the neighbor."""
    gaps = np.diff(x) / 3
    first, last = (gaps[:1], gaps[-1:]) if len(gaps) else (np.ones(1), np.ones(1))
    return np.stack([np.concatenate([first, gaps]), np.concatenate([gaps, last])], 1)


def _posed(shot: Shot, old: Character) -> Character:
    assert old.axes is not None
    leg = old.leg_length
    gap = max(2, round(LEAST_SECONDS * shot.rate))
    curves = _Curves(shot.frames)
    places: dict[str, tuple[Array, Array]] = {}
    quaternions = {p: _quaternions(local_axes(old, p)) for p in old.parts if not p.startswith("foot")}
    for side in (s for s in body.SIDES if old.has(*body.LIMBS[f"leg.{s}"])):
        foot = f"foot.{side}"
        quaternions[foot] = _quaternions(old.axes[:, old.index[foot]])
    for parts in (*LIMBS, *((p,) for p in quaternions if p.startswith("foot"))):
        parts = tuple(p for p in parts if p in quaternions)
        if not parts:
            continue
        table = np.concatenate([quaternions[p] * 2 / TURN_ERROR for p in parts], 1)
        if parts == ("pelvis",):
            table = np.concatenate([table, old.head("pelvis") / (leg * PLACE_ERROR)], 1)
        at = chosen_keys(shot.frames, table, FOOT_GAP if parts[0].startswith("foot") else gap)
        for p in parts:
            bone = f"foot_goal.{body.side(p)}" if p.startswith("foot") else old.bones[old.index[p]]
            curves.add(bone, "rotation_quaternion", at, quaternions[p])
        if parts == ("pelvis",):
            curves.add(old.bones[old.index["pelvis"]], "location", at, old.head("pelvis"))
    plain = curves.keys()
    turns, root = _evaluated(plain, old, shot.frames)
    study = Study(shot)
    found: Contacts = study.of(contacts, old)
    for part in (p for p in turns if p.startswith("foot")):
        places[part] = _foot_path(shot, old, part, turns[part], _pinned(shot, old, part, found), FOOT_GAP,
                                  curves)
    new = _bodied(old, turns, root)
    new = _within_reach(shot, new, {f"leg.{body.side(p)}": place for p, (place, _) in places.items()}, curves)
    keys = curves.keys()
    new = _forward_knees(new)
    new = edit.with_goals(new, [f"leg.{body.side(p)}" for p in places])
    for part, (place, axes) in places.items():
        new = edit.reach(new, f"leg.{body.side(part)}", place)
        assert new.axes is not None
        new = edit.turn(new, part, axes @ new.axes[:, new.index[part]].swapaxes(-1, -2))
    # the rig knows the pivots that it rolls about
    return replace(new, keys=keys, soles=tuple(replace(sole_of(old, body.side(p)), source="card") for p in places))


def chosen_keys(frames: Array, table: Array, gap: int) -> Array:
    """Samples to key for columns (F, N) in units of the error allowed: the ends, the extremes of the column that moves
    most, then wherever the clamped curve errs most, no two nearer than ``gap``."""
    last = len(frames) - 1
    main = table[:, int(np.ptp(table, axis=0).argmax())]
    turn = np.flatnonzero(np.diff(np.sign(np.diff(main))) != 0) + 1
    at = [0, last]
    for i in sorted(turn, key=lambda i: -abs(main[i] - main.mean())):
        if np.ptp(main) > 1 and min(abs(int(i) - j) for j in at) >= gap:
            at.append(int(i))
    while True:
        keyed = np.array(sorted(at))
        error = np.linalg.norm(_interpolated(frames, table, keyed) - table, axis=1)
        free = np.abs(np.arange(last + 1)[:, None] - keyed).min(1) >= gap
        error = np.where(free, error, 0.0)
        if error.max() <= 1:
            return keyed
        at.append(int(error.argmax()))


def _interpolated(frames: Array, table: Array, at: Array) -> Array:
    """Columns (F, N) read from clamped curves through their values on samples ``at`` (Hermite)."""
    x = frames[at]
    k = np.clip(np.searchsorted(x, frames, "right") - 1, 0, len(x) - 2)
    h = x[k + 1] - x[k]
    s = ((frames - x[k]) / h)[:, None]
    y = table[at]
    m = np.stack([clamped_slopes(x, y[:, c]) for c in range(y.shape[1])], 1)
    a, b = (2 * s**3 - 3 * s**2 + 1), (3 * s**2 - 2 * s**3)
    return np.asarray(a * y[k] + b * y[k + 1] + h[:, None] * ((s**3 - 2 * s**2 + s) * m[k] + (s**3 - s**2) * m[k + 1]))


def _quaternions(rotation: Array) -> Array:
    """Quaternions (F, 4) w x y z, each on the side of the one before."""
    vector = log(rotation)
    angle = np.linalg.norm(vector, axis=-1, keepdims=True)
    q = np.concatenate([np.cos(angle / 2), vector * np.sinc(angle / (2 * np.pi)) / 2], -1)
    flip = np.where((q[1:] * q[:-1]).sum(-1) < 0, -1.0, 1.0)
    return np.asarray(q * np.cumprod(np.concatenate([[1.0], flip]))[:, None])


def _rotations(q: Array) -> Array:
    q = q / np.linalg.norm(q, axis=-1, keepdims=True)
    q = np.where(q[:, :1] < 0, -q, q)
    size = np.linalg.norm(q[:, 1:], axis=-1, keepdims=True)
    angle = 2 * np.arctan2(size, q[:, :1])
    return exp(q[:, 1:] * np.where(size > 1e-12, angle / np.maximum(size, 1e-12), 2.0))


def _evaluated(keys: Keys, old: Character, frames: Array) -> tuple[dict[str, Array], Array]:
    """Local rotations of each part (of feet: in the world) and the pelvis's path, from the curves."""
    values = evaluate_channels(keys, np.arange(len(keys.channels)), frames)
    parts = {bone: part for part, bone in zip(old.parts, old.bones, strict=True)}
    rows: dict[tuple[str, str], list[int]] = {}
    for i, c in enumerate(keys.channels):
        part = f"foot.{c.bone[-1]}" if c.bone.startswith("foot_goal") else parts[c.bone]
        rows.setdefault((part, c.path.rpartition(".")[2]), []).append(i)
    turns = {part: _rotations(values[found].T) for (part, path), found in rows.items() if path == "rotation_quaternion"}
    return turns, values[rows[("pelvis", "location")]].T


def _bodied(old: Character, turns: dict[str, Array], root: Array) -> Character:
    """Forward kinematics with the clip's own bone lengths; the feet ride on the shins until the goals place them."""
    assert old.axes is not None
    heads, tails, axes = np.empty_like(old.heads), np.empty_like(old.tails), np.empty_like(old.axes)
    for part in sorted(old.parts, key=body.PARTS.index):
        i, above = old.index[part], parent_on(old, part)
        tail = np.median(np.einsum("fji,fj->fi", old.axes[:, i], old.tails[:, i] - old.heads[:, i]), axis=0)
        if above is None:
            axes[:, i], heads[:, i] = turns[part], root
        else:
            j = old.index[above]
            place = np.median(np.einsum("fji,fj->fi", old.axes[:, j], old.heads[:, i] - old.heads[:, j]), axis=0)
            axes[:, i] = turns[part] if part.startswith("foot") else axes[:, j] @ turns[part]
            heads[:, i] = heads[:, j] + axes[:, j] @ place
        tails[:, i] = heads[:, i] + axes[:, i] @ tail
    return replace(old, heads=heads, tails=tails, axes=axes, twist_axes=axes, goals=(), keys=None)


def _within_reach(shot: Shot, new: Character, goals: dict[str, Array], curves: _Curves) -> Character:
    """The body lowered on the pelvis's keys, as an animator does it, until both legs reach their goals nearly bent.

    A key more where a leg lacks most, so that the crouch before a jump is not lowered for the leap.
    """
    bone = new.bones[new.index["pelvis"]]
    rows = [i for i, c in enumerate(curves.channels) if c.bone == bone and c.path.endswith(".location")]
    at = np.searchsorted(shot.frames, curves.rows[rows[0]][0])
    root = new.head("pelvis").copy()
    for _ in range(LOWERINGS):
        need = np.max([_too_far(new, limb, place) for limb, place in goals.items()], axis=0)
        if need.max() <= 0:
            break
        for first, last in spans(need > 0):
            peak = first + int(need[first:last + 1].argmax())
            more = [i for i in (first - 1, peak, last + 1) if 0 <= i < len(need) and np.abs(at - i).min() >= FOOT_GAP]
            at = np.union1d(at, np.array(more, int))
        # a key takes what the frames nearest to it need
        middle = (at[1:] + at[:-1]) // 2
        low = [need[a:b + 1].max() for a, b in zip([0, *middle], [*(middle + 1), len(need) - 1], strict=True)]
        root[at] -= np.outer(low, new.up)
        down = _interpolated(shot.frames, root, at) - new.head("pelvis")
        root = new.head("pelvis") + down
        new = edit.shift(new, down)
    for k, row in enumerate(rows):
        x = shot.frames[at]
        curves.rows[row] = (x, root[at, k], clamped_slopes(x, root[at, k]))
    return new


def _too_far(character: Character, limb: str, place: Array) -> Array:
    """(F,) meters by which the body must come down for the limb to reach its goal with a little bend left."""
    root, mid, _ = body.LIMBS[limb]
    length = NEARLY * (character.rest_length(root) + character.rest_length(mid)) * character.scale
    line = place - character.head(root)
    along = line @ character.up
    level = np.linalg.norm(line - along[:, None] * character.up, axis=-1)
    room = np.sqrt(np.maximum(length**2 - level**2, 0.0))
    return np.maximum(-along - room, 0.0)


def _forward_knees(character: Character) -> Character:
    """Knees bent the natural way by some degrees at least, as a pole holds them, before the legs are solved."""
    for side in body.SIDES:
        thigh, shin, _ = body.LIMBS[f"leg.{side}"]
        if not character.has(*body.LIMBS[f"leg.{side}"]) or character.axes is None:
            continue
        upper, lower = character.end(thigh) - character.head(thigh), character.end(shin) - character.head(shin)
        bent = angle_between(upper, lower) > np.radians(15)
        if not bent.any():
            continue
        axes = character.axes[:, character.index[thigh]]
        axis = turned(axes, np.median(seen_from(axes, unit(cross(upper, lower)))[bent], axis=0))
        axis = unit(square_to(axis, unit(upper)))
        now = np.arctan2(dot(cross(upper, lower), axis), dot(upper, lower))
        character = edit.turn(character, shin, about(axis, np.maximum(LEAST_BEND - now, 0.0)))
    return character


def _pivots(heel_up: Array, planted: Array) -> Array:
    """(F,) the point that a foot turns about: the ball while the heel is up, the heel while the toe is, of a flat foot
    the one before. heel_up (F,): of a leg, how far the heel lies over the ball; planted (F, 7)."""
    both = planted[:, HEEL] & planted[:, BALL]
    tilt = heel_up - (np.median(heel_up[both]) if both.any() else 0.0)
    out = np.where(tilt > FLAT, BALL, np.where(tilt < -FLAT, HEEL, -1))
    for i in range(len(out)):
        if out[i] < 0:
            out[i] = out[i - 1] if i and planted[i - 1].any() else HEEL if planted[i, HEEL] else BALL
    return np.asarray(out)


def _pinned(shot: Shot, old: Character, part: str, found: Contacts) -> Array:
    """(F, 7) bool: the planted points where no other part may carry the body: a foot that trails behind its knee or
    under a lying body is not pinned."""
    drawn = Study(shot).of(exposure, old).drawings
    cover = np.clip(np.searchsorted(drawn, np.arange(shot.count), side="right") - 1, 0, None)
    return found.planted[part] & ~found.elsewhere[part][cover][:, None]


def _in_reach(old: Character, side: str, wished: Array) -> Array:
    """Places (F, 3) of an ankle, none farther from its hip than the leg reaches nearly bent, or than the clip's own."""
    root, mid, end = body.LIMBS[f"leg.{side}"]
    line = wished - old.head(root)
    far = np.linalg.norm(line, axis=-1)
    most = np.maximum(NEARLY * (old.rest_length(root) + old.rest_length(mid)) * old.scale,
                      np.linalg.norm(old.head(end) - old.head(root), axis=-1))
    return np.asarray(old.head(root) + line * np.minimum(1.0, most / np.maximum(far, 1e-9))[:, None])


def _foot_path(shot: Shot, old: Character, part: str, axes: Array, planted: Array, gap: int,
               curves: _Curves) -> tuple[Array, Array]:
    """Ankle path (F, 3) and the foot's axes: pinned about its pivot while planted, keyed and eased while it swings."""
    assert old.axes is not None
    side = body.side(part)
    ankle = old.head(part)
    sole = carried(old, sole_of(old, side))
    own = old.axes[:, old.index[part]]
    arm = {k: np.median(np.einsum("fji,fj->fi", own, ankle - sole[:, k]), axis=0) for k in (HEEL, BALL)}
    wanted = _pivots(axes @ (arm[BALL] - arm[HEEL]) @ old.up / old.leg_length, planted)
    path = ankle.copy()
    standing = np.asarray(planted.any(1))
    pinned = np.zeros(len(path), bool)
    for first, last in spans(standing):
        pivot, anchor = -1, np.zeros(3)
        for i in range(first, last + 1):
            if wanted[i] != pivot:
                if pivot < 0:
                    still = [n for n in range(first, last + 1) if wanted[n] == wanted[i] and planted[n, wanted[i]]]
                    anchor = np.median(sole[still or [i], wanted[i]], axis=0)
                else:
                    before = anchor + axes[i - 1] @ arm[pivot]             # the ankle one frame ago
                    anchor = before - axes[i - 1] @ arm[wanted[i]]
                pivot = wanted[i]
            path[i] = anchor + axes[i] @ arm[pivot]
        pinned[first:last + 1] = True
    change = np.zeros_like(path)
    change[pinned] = path[pinned] - ankle[pinned]
    marks = np.flatnonzero(pinned)
    if len(marks):
        # before its first and after its last stance the foot goes where the clip's does
        free = round(RETURN * shot.rate)
        marks = np.concatenate([[marks[0] - free], marks, [marks[-1] + free]])
        change = np.vstack([np.zeros(3), change[marks[1:-1]], np.zeros(3)])
        change = np.stack([np.interp(np.arange(len(path)), marks, change[:, k]) for k in range(3)], -1)
    wished = _in_reach(old, side, ankle + change)
    keyed: set[int] = set()
    for first, last in spans(np.logical_not(pinned)):
        a, b = max(first - 1, 0), min(last + 1, len(path) - 1)
        if b - a < 2:
            path[a:b + 1] = wished[a:b + 1]
            continue
        piece = wished[a:b + 1]
        at = chosen_keys(shot.frames[a:b + 1], piece / (old.leg_length * PLACE_ERROR), gap)
        path[a:b + 1] = _interpolated(shot.frames[a:b + 1], piece, at)
        keyed |= {a + int(i) for i in at}
    for first, last in spans(pinned):
        keyed |= {first, last}
    curves.add(f"foot_goal.{side}", "location", np.array(sorted(keyed)), path)
    return path, axes

