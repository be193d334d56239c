# SPDX-License-Identifier: GPL-3.0-or-later
"""Random humans: skeletons of many proportions, rest poses, habits and places, with the true body map beside each.

Only numpy; the names come from ``habits``. The truth says, per part, which bone names are right: several where more
than one is (any bone between pelvis and chest is the spine).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..body_map.skeleton import Array, Skeleton
from .habits import DEFAULTS, HABITS, Habit

__all__ = ["DEFAULTS", "HABITS", "Habit", "Human", "human"]


@dataclass
class Bone:
    """One bone under construction: name, parent's index, head and tail (3,) m, skin weight; part: what it truly is,
    '' for none.
    """

    name: str
    parent: int
    head: Array
    tail: Array
    weight: float
    part: str = ""


@dataclass(frozen=True)
class Human:
    """A skeleton, and for each of its parts the names that are right; ``what`` tells how it was made."""

    skeleton: Skeleton
    truth: dict[str, frozenset[str]]
    what: str
    named: bool = True


REST = ("T", "A", "hanging", "sitting")


def _rotation(axis: Array | Sequence[float], angle: float) -> Array:
    x, y, z = np.asarray(axis, float) / np.linalg.norm(axis)
    cross = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    return np.eye(3) + np.sin(angle) * cross + (1 - np.cos(angle)) * cross @ cross


class _Builder:
    """Bones of one human, in meters, facing -y, z up, the left side at +x."""

    def __init__(self, rng: np.random.Generator, habit: Habit | None) -> None:
        self.rng, self.habit = rng, habit
        self.bones: list[Bone] = []
        self.fingers = 0

    def size(self, mean: float, sigma: float = 0.2) -> float:
        return float(mean * np.exp(np.clip(self.rng.normal(0, sigma), -2 * sigma, 2 * sigma)))

    def name(self, key: str, side: int = 0, number: int = -1, count: int = 1) -> str:
        habit = self.habit
        if habit is None:
            return ""
        word = habit.words[key]
        if number >= 0 and not (count == 1 or habit.first_bare and number == 0):
            word += habit.numbers(number if not habit.first_bare else number - 1)
        return habit.join(word, "" if side == 0 else habit.sides[0 if side > 0 else 1])

    def add(
        self,
        name: str,
        parent: int,
        head: Array,
        tail: Array | Sequence[float],
        part: str = "",
        weight: float | None = None,
    ) -> int:
        self.bones.append(
            Bone(
                name,
                parent,
                np.asarray(head, float),
                np.asarray(tail, float),
                float(self.rng.uniform(5, 200)) if weight is None else weight,
                part,
            )
        )
        return len(self.bones) - 1


def human(seed: int, habit: Habit | None = HABITS[0], default: str = "Bone", *, straight: bool = False) -> Human:
    """A random human. habit None: nameless, numbered ``default`` names in shuffled order.

    straight: upright at the origin, in a random rest pose, skinned (for laws that move it themselves).
    """
    rng = np.random.default_rng(seed)
    b = _Builder(rng, habit)
    rest = str(rng.choice(REST))
    leg = b.size(0.44)
    shin = leg * float(np.exp(np.clip(rng.normal(-0.02, 0.08), -0.2, 0.2)))
    upper = b.size(0.29)
    fore = upper * float(np.exp(np.clip(rng.normal(-0.1, 0.08), -0.3, 0.15)))
    hip, shoulder = b.size(0.095), b.size(0.17)
    foot_high, foot_long, toe_long = b.size(0.085), b.size(0.15), b.size(0.06)
    hand_long = b.size(0.1)
    spines, necks = int(rng.integers(1, 5)), int(rng.choice([1, 1, 1, 2, 0]))
    trunk, neck, skull = b.size(0.45), b.size(0.1), b.size(0.2)
    toes, clavicles, hands = rng.random() < 0.8, rng.random() < 0.85, rng.random() < 0.92
    bend = float(rng.choice([0.0, 3.0, 8.0, 15.0]))
    twist, leaves = rng.random() < 0.25, habit is not None and rng.random() < 0.15
    z = np.array([0, 0, 1.0])
    pelvis_at = np.array([0, 0, leg + shin + foot_high + b.size(0.05)])
    parent = -1
    if rng.random() < 0.4:
        parent = b.add(b.name("root"), -1, np.zeros(3), [0, 0.2, 0], weight=0.0)
    pelvis = b.add(b.name("pelvis"), parent, pelvis_at, pelvis_at + z * trunk * 0.2, "pelvis")
    here, last = pelvis_at + z * trunk * 0.2, pelvis
    step = trunk * 0.8 / (spines + 1)
    middle = []
    shared = habit is not None and habit.words["spine"] == habit.words["chest"]
    count = spines + 1 if shared else spines
    for i in range(spines):
        last = b.add(b.name("spine", 0, i, count), last, here, here + z * step, "spine")
        middle.append(last)
        here = here + z * step + np.array([0, rng.normal(0, 0.006), 0])
    chest = b.add(
        b.name("spine", 0, spines, count) if shared else b.name("chest"), last, here, here + z * step, "chest"
    )
    top, last = here + z * step, chest
    chest_at = here
    here = top
    for i in range(necks):
        reach = neck / necks
        last = b.add(b.name("neck", 0, i, necks), last, here, here + [0, -0.1 * reach, reach], "neck")
        here = here + [0, -0.1 * reach, reach]
    head = b.add(b.name("head"), last, here, here + z * skull, "head")
    if leaves:
        b.add(b.bones[head].name + "_end", head, here + z * skull, here + z * skull * 1.3, weight=0.0)
    for side in (1, -1):
        s = np.array([side, 1, 1.0])
        _leg(
            b,
            side,
            s,
            pelvis,
            pelvis_at,
            hip,
            leg,
            shin,
            foot_high,
            foot_long,
            toe_long,
            toes,
            bend,
            rest,
            twist,
            leaves,
        )
        _arm(
            b,
            side,
            s,
            chest,
            chest_at,
            top,
            step,
            shoulder,
            upper,
            fore,
            hand_long,
            clavicles,
            hands,
            bend,
            rest,
            twist,
            leaves,
        )
    if rng.random() < 0.3:
        for side in (1, -1):
            at = here + [side * 0.03, -0.08, skull * 0.4]
            b.add(b.name("eye", side), head, at, at + [0, -0.03, 0])
    if rng.random() < 0.15:
        last, at = pelvis, pelvis_at + [0, 0.08, 0.02]
        for i in range(4):
            last = b.add(b.name("tail", 0, i, 4), last, at, at + [0, 0.12, -0.06])
            at = at + [0, 0.12, -0.06]
    if rng.random() < 0.15:
        last, at = head, here + [0, 0.09, skull * 0.7]
        for i in range(3):
            last = b.add(b.name("hair", 0, i, 3), last, at, at + [0, 0.03, -0.12])
            at = at + [0, 0.03, -0.12]
    return _finish(b, rng, habit, default, rest, straight)


def _leg(
    b: _Builder,
    side: int,
    s: Array,
    pelvis: int,
    at: Array,
    hip: float,
    leg: float,
    shin: float,
    foot_high: float,
    foot_long: float,
    toe_long: float,
    toes: bool,
    bend: float,
    rest: str,
    twist: bool,
    leaves: bool,
) -> None:
    letter = "L" if side > 0 else "R"
    root = at + s * [hip, 0, -0.04]
    down = np.array([0.06, 0, -1.0]) * s
    down /= np.linalg.norm(down)
    first = _rotation([1, 0, 0], np.radians(-(80 if rest == "sitting" else bend / 2))) @ down
    second = _rotation([1, 0, 0], np.radians(0 if rest == "sitting" else bend / 2)) @ down
    knee = root + first * leg
    ankle = knee + second * shin
    ball = ankle + s * [0.02, -foot_long, -foot_high * 0.8]
    thigh = b.add(b.name("thigh", side), pelvis, root, knee, f"thigh.{letter}")
    if twist:
        b.add(_twist(b, "thigh", side), thigh, root + (knee - root) * 0.5, knee)
    calf = b.add(b.name("shin", side), thigh, knee, ankle, f"shin.{letter}")
    foot = b.add(b.name("foot", side), calf, ankle, ball, f"foot.{letter}")
    end, tip = foot, ball
    if toes:
        tip = ball + s * [0, -toe_long, 0]
        end = b.add(b.name("toe", side), foot, ball, tip, f"toe.{letter}")
    if leaves:
        b.add(b.bones[end].name + "_end", end, tip, tip + [0, -0.03, 0], weight=0.0)


def _twist(b: _Builder, key: str, side: int) -> str:
    if b.habit is None:
        return ""
    return b.habit.join(f"{b.habit.words[key]}_{b.habit.words['twist']}", b.habit.sides[0 if side > 0 else 1])


def _arm(
    b: _Builder,
    side: int,
    s: Array,
    chest: int,
    chest_at: Array,
    top: Array,
    step: float,
    shoulder: float,
    upper: float,
    fore: float,
    hand_long: float,
    clavicles: bool,
    hands: bool,
    bend: float,
    rest: str,
    twist: bool,
    leaves: bool,
) -> None:
    letter = "L" if side > 0 else "R"
    at = top * [0, 1, 1] + s * [shoulder, 0.01, -0.03]
    parent = chest
    if clavicles:
        inner = top * [0, 1, 1] + s * [0.025, -0.01, -0.05]
        parent = b.add(b.name("clavicle", side), chest, inner, at, f"clavicle.{letter}")
    angle = {"T": 2, "A": 45, "hanging": 80, "sitting": 60}[rest]
    out = np.array([np.cos(np.radians(angle)), 0, -np.sin(np.radians(angle))])
    one = s * out
    two = s * (out * np.cos(np.radians(bend)) + np.array([0, -1.0, 0]) * np.sin(np.radians(bend)))
    elbow = at + one * upper
    wrist = elbow + two * fore
    arm = b.add(b.name("upper_arm", side), parent, at, elbow, f"upper_arm.{letter}")
    if twist:
        b.add(_twist(b, "upper_arm", side), arm, at + (elbow - at) * 0.5, elbow)
    low = b.add(b.name("forearm", side), arm, elbow, wrist, f"forearm.{letter}")
    if twist:
        b.add(_twist(b, "forearm", side), low, elbow + (wrist - elbow) * 0.5, wrist)
    if not hands:
        return
    knuckle = wrist + two * hand_long
    hand = b.add(b.name("hand", side), low, wrist, knuckle, f"hand.{letter}")
    if side > 0:  # both hands have the same
        b.fingers = (0, 0, 1, 3, 5)[int(b.rng.integers(0, 5))]
    fingers = b.fingers
    across = np.cross(two, [0, 0, 1.0])
    across = (
        across / max(float(np.linalg.norm(across)), 1e-9) if np.linalg.norm(across) > 0.2 else np.array([0, -1.0, 0])
    )
    for f in range(fingers):
        last, place = hand, knuckle + across * 0.02 * (f - fingers / 2)
        for k in range(3):
            word = (
                ""
                if b.habit is None
                else b.habit.join(f"{b.habit.words['finger']}{'ABCDE'[f]}{k + 1}", b.habit.sides[0 if side > 0 else 1])
            )
            last = b.add(word, last, place, place + two * 0.028)
            place = place + two * 0.028
    if leaves and not fingers:
        b.add(b.bones[hand].name + "_end", hand, knuckle, knuckle + two * 0.05, weight=0.0)


def _finish(
    b: _Builder, rng: np.random.Generator, habit: Habit | None, default: str, rest: str, straight: bool
) -> Human:
    bones = b.bones
    n = len(bones)
    if habit is None:
        numbers = rng.permutation(n)
        for bone, k in zip(bones, numbers, strict=True):
            bone.name = default if k == 0 else f"{default}.{k:03d}"
    seen: dict[str, int] = {}
    for bone in bones:  # as Blender keeps names apart
        k = seen.get(bone.name, 0)
        seen[bone.name] = k + 1
        if k:
            bone.name += f".{k:03d}"
    heads, tails = np.array([x.head for x in bones]), np.array([x.tail for x in bones])
    place = "upright"
    skin = True
    if not straight:
        heads, tails, place = _placed(rng, heads, tails)
        skin = rng.random() < 0.7
    order = rng.permutation(n) if habit is None else np.arange(n)
    at = {int(k): i for i, k in enumerate(order)}
    weight = np.array([bones[k].weight if skin else 0.0 for k in order])
    y = tails - heads
    y = y / np.maximum(np.linalg.norm(y, axis=1, keepdims=True), 1e-12)
    helper = np.where(np.abs(y[:, :1]) < 0.9, [[1.0, 0, 0]], [[0, 1.0, 0]])
    x = np.cross(helper, y)
    x = x / np.linalg.norm(x, axis=1, keepdims=True)
    axes = np.stack([x, y, np.cross(x, y)], axis=2)
    skeleton = Skeleton(
        tuple(bones[k].name for k in order),
        ("Armature",) * n,
        np.array([at[bones[k].parent] if bones[k].parent >= 0 else -1 for k in order]),
        heads[order],
        tails[order],
        axes[order],
        np.ones(n, bool),
        weight,
    )
    truth: dict[str, set[str]] = {}
    for bone in bones:
        if bone.part:
            truth.setdefault(bone.part, set()).add(bone.name)
    label = f"{habit.name if habit else default} {rest} {place}{'' if skin else ' unskinned'}"
    return Human(skeleton, {p: frozenset(v) for p, v in truth.items()}, label, habit is not None)


def _placed(rng: np.random.Generator, heads: Array, tails: Array) -> tuple[Array, Array, str]:
    """At an odd heading, elsewhere, x100, x0.01 or lying."""
    turn, what = np.eye(3), "upright"
    if rng.random() < 0.4:
        turn, what = _rotation(np.array([0, 0, 1.0]), float(rng.uniform(0, 2 * np.pi))), "odd heading"
    scale = 1.0
    draw = rng.random()
    if draw < 0.1:
        scale, what = 100.0, what + " x100"
    elif draw < 0.2:
        scale, what = 0.01, what + " x0.01"
    elif draw < 0.3:
        turn, what = turn @ _rotation(np.array([1.0, 0, 0]), np.pi / 2), what + " lying"
    move = rng.normal(0, 2.0, 3) * [1, 1, 0] * (rng.random() < 0.5)
    return (heads @ turn.T + move) * scale, (tails @ turn.T + move) * scale, what
