# SPDX-License-Identifier: GPL-3.0-or-later
"""Captured clips as Shots: those that package registries carry, and any folder of BVH files given beside them.

Registry-carried (fetched once into .cache/clips by ``build.py``): pybullet 3.2.7's ``humanoid3d`` and ``walker``
motions
(JSON, Y up, meters, quaternions w x y z, bone offsets of humanoid.urdf times 0.25) and the BVH files of bvhtoolbox
0.1.3.
"""

import json
import re
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np

from ..numeric.between import between
from ..numeric.rotation import log
from ..shot import Character, Shot

Array = np.ndarray
CACHE = Path(__file__).resolve().parents[2] / ".cache" / "clips"
Z_UP = np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]])


@dataclass(frozen=True)
class Clip:
    """Joints with parents, rest offsets (J, 3) m, local rotations (F, J, 3, 3), root path (F, 3), all Y up."""

    name: str
    joints: tuple[str, ...]
    parents: tuple[int, ...]
    offsets: Array
    ends: dict[str, Array]
    turns: Array
    root: Array
    fps: float
    parts: dict[str, str]
    forward: Array

    def resampled(self, fps: float) -> "Clip":
        """The clip at another rate, along smooth curves through its samples: straight ones would plant linear spans."""
        if abs(fps - self.fps) < 1e-6:
            return self
        at = np.arange(0, len(self.root) - 1 + 1e-9, self.fps / fps)
        # quaternions on one hemisphere, joint by joint, then a cubic through four samples each (Catmull and Rom)
        q = _quaternion(self.turns)
        flips = np.where((q[1:] * q[:-1]).sum(-1) < 0, -1.0, 1.0)
        q = q * np.cumprod(np.concatenate([np.ones((1, q.shape[1])), flips]), 0)[..., None]
        return replace(self, turns=_from_quaternion(between(q, at)), root=between(self.root, at), fps=fps)

    def shot(self, fps: float | None = None) -> Shot:
        """The clip as a Shot, Z up, at its own rate or at ``fps``."""
        clip = self if fps is None else self.resampled(fps)
        heads, turns = clip._world(clip.turns, clip.root)
        rest, _ = clip._world(np.broadcast_to(np.eye(3), (1, *clip.turns.shape[1:])), np.zeros((1, 3)))
        parts = tuple(clip.parts)
        rows = [clip.joints.index(clip.parts[p]) for p in parts]
        tail = np.stack([clip._tail(row) for row in rows])
        axes = turns[:, rows]
        character = Character(
            name=clip.name,
            parts=parts,
            bones=tuple(clip.parts.values()),
            heads=heads[:, rows] @ Z_UP.T,
            tails=(heads[:, rows] + np.einsum("fpij,pj->fpi", axes, tail)) @ Z_UP.T,
            axes=Z_UP @ axes,
            twist_axes=Z_UP @ axes,
            rest_heads=rest[0, rows] @ Z_UP.T,
            rest_tails=(rest[0, rows] + tail) @ Z_UP.T,
            rest_axes=np.broadcast_to(Z_UP, (len(rows), 3, 3)),
            scale=np.ones(len(heads)),
            up=np.array([0.0, 0, 1]),
            forward=Z_UP @ clip.forward,
            height=clip._height(rest[0]),
            reasons=tuple("named" for _ in parts),
        )
        return Shot(name=clip.name, frames=np.arange(1.0, len(heads) + 1), fps=clip.fps, characters=(character,))

    def _world(self, turns: Array, root: Array) -> tuple[Array, Array]:
        heads = np.empty((len(root), len(self.joints), 3))
        total = np.empty((len(root), len(self.joints), 3, 3))
        for j, above in enumerate(self.parents):
            total[:, j] = turns[:, j] if above < 0 else total[:, above] @ turns[:, j]
            heads[:, j] = root if above < 0 else heads[:, above] + total[:, above] @ self.offsets[j]
        return heads, total

    def _tail(self, row: int) -> Array:
        below = [self.offsets[j] for j, p in enumerate(self.parents) if p == row]
        return self.ends.get(self.joints[row], below[0] if below else np.array([0, 0.1, 0]))

    def _height(self, rest: Array) -> float:
        places = [*rest, *(rest[self.joints.index(j)] + v for j, v in self.ends.items())]
        return float(np.ptp(np.array(places)[:, 1]))


# ---- pybullet ----------------------------------------------------------------------------------------------

_ORDER = (
    "root",
    "chest",
    "neck",
    "right_hip",
    "right_knee",
    "right_ankle",
    "right_shoulder",
    "right_elbow",
    "left_hip",
    "left_knee",
    "left_ankle",
    "left_shoulder",
    "left_elbow",
)
_SCALE = 0.25


def _sided(table: dict[str, str], swap: tuple[str, str]) -> dict[str, str]:
    """Left-side rows of a map repeated for the right."""
    out = dict(table)
    for part, joint in table.items():
        if part.endswith(".L"):
            out[part[:-1] + "R"] = joint.replace(*swap, 1)
    return out


_PB_PARTS = _sided(
    {
        "pelvis": "root",
        "chest": "chest",
        "head": "neck",
        "thigh.L": "left_hip",
        "shin.L": "left_knee",
        "foot.L": "left_ankle",
        "upper_arm.L": "left_shoulder",
        "forearm.L": "left_elbow",
        "hand.L": "left_wrist",
    },
    ("left", "right"),
)


@cache
def _urdf() -> tuple[tuple[str, ...], tuple[int, ...], Array]:
    text = (CACHE / "humanoid3d" / "humanoid.urdf").read_bytes().decode("latin-1")
    names, above, offsets = [], [], []
    pattern = r'<joint\s+name="(\w+)".*?<parent link\s*=\s*"(\w+)".*?<origin[^>]*xyz\s*=\s*"([^"]+)".*?</joint>'
    for name, parent, xyz in re.findall(pattern, text, re.S):
        names.append(name)
        above.append(names.index(parent) if parent in names else -1)
        offsets.append([float(v) * _SCALE for v in xyz.split()])
    return tuple(names), tuple(above), np.array(offsets)


def _from_quaternion(q: Array) -> Array:
    """Rotation matrices of quaternions (..., 4) w x y z."""
    w, x, y, z = np.moveaxis(q / np.linalg.norm(q, axis=-1, keepdims=True), -1, 0)
    return np.stack(
        [
            np.stack([1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)], -1),
            np.stack([2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)], -1),
            np.stack([2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)], -1),
        ],
        -2,
    )


def _quaternion(rotation: Array) -> Array:
    """Quaternions (..., 4) w x y z of rotations, sign free."""
    vector = log(rotation)
    angle = np.linalg.norm(vector, axis=-1, keepdims=True)
    return np.concatenate([np.cos(angle / 2), vector * np.sinc(angle / (2 * np.pi)) / 2], -1)


def _about_z(angle: Array) -> Array:
    c, s, o = np.cos(angle), np.sin(angle), np.zeros_like(angle)
    return np.stack([np.stack([c, -s, o], -1), np.stack([s, c, o], -1), np.stack([o, o, o + 1], -1)], -2)


def _pybullet(path: Path) -> Clip:
    joints, parents, offsets = _urdf()
    rows = np.array(json.loads(path.read_text())["Frames"])
    turns = np.broadcast_to(np.eye(3), (len(rows), len(joints), 3, 3)).copy()
    at = 4
    for name in _ORDER:
        hinge = name.endswith(("knee", "elbow"))
        turns[:, joints.index(name)] = _about_z(rows[:, at]) if hinge else _from_quaternion(rows[:, at : at + 4])
        at += 1 if hinge else 4
    ends = {f"{s}_ankle": np.array([0.1335, -0.05, 0]) for s in ("left", "right")}  # the box's toe, humanoid.urdf
    ends |= {f"{s}_wrist": np.array([0, -0.18, 0]) for s in ("left", "right")} | {"neck": np.array([0, 0.2775, 0])}
    fps = 1 / float(np.median(rows[:-1, 0]))
    return Clip(
        path.stem, joints, parents, offsets, ends, turns, rows[:, 1:4], round(fps, 2), _PB_PARTS, np.array([1.0, 0, 0])
    )


# ---- BVH ---------------------------------------------------------------------------------------------------

_BVH_PARTS = (
    _sided(
        {
            "pelvis": "root",
            "spine": "lowerback",
            "chest": "thorax",
            "neck": "lowerneck",
            "head": "head",
            "clavicle.L": "lclavicle",
            "upper_arm.L": "lhumerus",
            "forearm.L": "lradius",
            "hand.L": "lhand",
            "thigh.L": "lfemur",
            "shin.L": "ltibia",
            "foot.L": "lfoot",
            "toe.L": "ltoes",
        },
        ("l", "r"),
    ),
    _sided(
        {
            "pelvis": "Hips",
            "spine": "Spine",
            "chest": "Spine2",
            "neck": "Neck",
            "head": "Head",
            "clavicle.L": "LeftShoulder",
            "upper_arm.L": "LeftArm",
            "forearm.L": "LeftForeArm",
            "hand.L": "LeftHand",
            "thigh.L": "LeftUpLeg",
            "shin.L": "LeftLeg",
            "foot.L": "LeftFoot",
            "toe.L": "LeftToeBase",
        },
        ("Left", "Right"),
    ),
    _sided(
        {
            "pelvis": "Hips",
            "spine": "Chest",
            "chest": "Chest2",
            "neck": "Neck",
            "head": "Head",
            "clavicle.L": "LeftCollar",
            "upper_arm.L": "LeftShoulder",
            "forearm.L": "LeftElbow",
            "hand.L": "LeftWrist",
            "thigh.L": "LeftHip",
            "shin.L": "LeftKnee",
            "foot.L": "LeftAnkle",
        },
        ("Left", "Right"),
    ),
)


def _bvh(path: Path, unit: float = 0.01) -> Clip:
    """A BVH file; ``unit`` meters per file unit (centimeters in all of ours)."""
    joints: list[str] = []
    parents: list[int] = []
    offsets: list[list[float]] = []
    channels: list[list[str]] = []
    ends: dict[str, Array] = {}
    stack: list[int] = []
    lines = iter(path.read_text().splitlines())
    end_of = ""
    for line in lines:
        words = line.split()
        if not words:
            continue
        if words[0] in ("ROOT", "JOINT"):
            joints.append(words[1].rpartition(":")[2])
            parents.append(stack[-1] if stack else -1)
            offsets.append([0.0, 0, 0])
            channels.append([])
            pending = len(joints) - 1
        elif words[0] == "End":
            end_of, pending = joints[stack[-1]], -1
        elif words[0] == "{":
            stack.append(pending)
        elif words[0] == "}":
            stack.pop()
            end_of = ""
        elif words[0] == "OFFSET":
            vector = [float(v) * unit for v in words[1:4]]
            if end_of:
                ends[end_of] = np.array(vector)
            else:
                offsets[stack[-1]] = vector
        elif words[0] == "CHANNELS":
            channels[stack[-1]] = words[2:]
        elif words[0] == "MOTION":
            break
    next(lines)
    step = float(next(lines).split()[-1])
    table = np.array([[float(v) for v in line.split()] for line in lines if line.strip()])
    turns = np.broadcast_to(np.eye(3), (len(table), len(joints), 3, 3)).copy()
    root = np.zeros((len(table), 3))
    at = 0
    for j, names in enumerate(channels):
        for name in names:
            axis = "XYZ".index(name[0])
            if name.endswith("position") and j == 0:
                root[:, axis] = table[:, at] * unit
            elif name.endswith("rotation"):
                turns[:, j] = turns[:, j] @ _about(axis, np.radians(table[:, at]))
            at += 1
    parts = max(_BVH_PARTS, key=lambda m: sum(j in joints for j in m.values()))
    parts = {p: j for p, j in parts.items() if j in joints}
    return Clip(
        path.stem,
        tuple(joints),
        tuple(parents),
        np.array(offsets),
        ends,
        turns,
        root,
        round(1 / step, 2),
        parts,
        np.array([0.0, 0, 1]),
    )


def _about(axis: int, angle: Array) -> Array:
    vector = np.zeros((len(angle), 3))
    vector[:, axis] = np.sin(angle / 2)
    return _from_quaternion(np.concatenate([np.cos(angle / 2)[:, None], vector], -1))


# ---- what there is -----------------------------------------------------------------------------------------


def names(more: Path | None = None) -> list[str]:
    """Clip names: registry-carried ones, and those of the BVH files anywhere under ``more``."""
    return sorted(_files(more))


def _files(more: Path | None) -> dict[str, Path]:
    found = {
        p.stem: p
        for folder in ("humanoid3d", "walker", "bvh")
        for p in (CACHE / folder).glob("*.*")
        if p.suffix in (".txt", ".bvh")
    }
    if more is not None:
        found |= {p.stem: p for p in Path(more).rglob("*.bvh")}
    return found


@cache
def clip(name: str, more: Path | None = None) -> Clip:
    path = _files(more)[name]
    return _bvh(path) if path.suffix == ".bvh" else _pybullet(path)


def load(name: str, fps: float | None = None, more: Path | None = None) -> Shot:
    """A clip as a Shot at its own rate, or resampled to ``fps``."""
    return clip(name, more).shot(fps)
