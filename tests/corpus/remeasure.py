# SPDX-License-Identifier: GPL-3.0-or-later
"""Measures the accepted faults anew, by plain means that share nothing with the checks.

    python -m tests.corpus.remeasure DIR

DIR holds the hand-keyed files. A slide: the foot's own skin (of captured skeletons: its joints) as Blender moves it;
step by step the touching vertex that moves least, so that a pivot reads zero. A pulled limb: how far its IK
constraint's target stands from the chain's tip, or, where motion is baked, how much longer than at rest the chain is.
An even move: how little the bone's turn against its parent differs from frame to frame, and how far it strays from the
straight line between the quaternions of its first and last frame: on that lies what two linear keys have between them,
also where it was baked. Of marches and stops the file's own keys are told. Flights and pushes: remeasure_weight.py;
stops, snaps and single frames: remeasure_spacing.py.
Prints a line for each row of accepted.json, and ends with 1 where a fault is not there.
"""

import os
import sys
from pathlib import Path
from typing import Any

import bpy
import numpy as np
from plumbline.blender_addon.compat import action_fcurves, slot_of
from plumbline.core import body
from plumbline.core.shot import Character, Shot
from plumbline.core.testing import clips, corpus
from plumbline.core.testing.corpus import Accepted

from . import files, remeasure_spacing, remeasure_weight

Array = np.ndarray

TOUCHES = 0.01  # m over the floor
LOW_JOINT = 0.04  # of a leg over its lowest in the row's frames: the floor of captured clips drifts
LEAST_SLIDE = 0.04  # of a leg; medium begins at 0.042
LEAST_PULL = 0.015  # of the limb
MOST_UNEVEN = 0.05  # of the mean turn a frame
MOST_OFF_LINE = 0.01  # degrees off the straight line between two quaternions
LEAST = {"slip": LEAST_SLIDE, "overextension": LEAST_PULL, "linear-span": 1 - MOST_UNEVEN}
WALKS = 0.5  # legs a second: faster, the feet of the whole clip go with a belt


def path_of(places: Array, touching: Array) -> Array:
    """places (F, N, 3), touching (F, N) -> steps (F - 1, 2) in m of the least moved touching point, NaN without one."""
    steps = np.full((len(places) - 1, 2), np.nan)
    for i, (move, both) in enumerate(zip(np.diff(places[..., :2], axis=0), touching[1:] & touching[:-1], strict=True)):
        if both.any():
            steps[i] = move[both][np.argmin((move[both] ** 2).sum(1))]
    return steps


def strayed(steps: Array, belt: Array | float = 0.0) -> float:
    """How far steps (n, 2) stray, m, the belt's own step taken from each."""
    path = np.vstack([np.zeros(2), np.nan_to_num(steps - belt).cumsum(0)])
    return float(np.linalg.norm(path[:, None] - path, axis=-1).max())


def captured(row: Accepted) -> tuple[float, str]:
    """Share of a leg that a foot of the row slides, and words."""
    c = clips.load(row.clip).characters[0]
    best, words = 0.0, "no slide"
    for part in row.part.split(", "):
        points = np.stack([c.head(part), c.end(part), *([c.end(f"toe.{body.side(part)}")] if c.has(
            f"toe.{body.side(part)}") else [])], 1)
        points = points[(row.first or 1) - 1 : row.last]
        height = points[..., 2] - points[..., 2].min(0)
        slide = strayed(path_of(points, height < LOW_JOINT * c.leg_length))
        if slide > best:
            best = slide
            words = (f"{part}: its joints, at most {100 * height.min(1).max():.1f} cm over their lowest there, "
                     f"slide {100 * slide:.1f} cm")
    return best / c.leg_length, words


class Scene:
    """The file of one clip as Blender has it open, and the sampled shot, which only tells which bones to look at."""

    def __init__(self, path: Path, clip: str) -> None:
        if path.suffix == ".glb":
            files.assign(clip[len(path.stem) + 1 :])
        self.shot: Shot = files.sampled()
        self.character: Character = self.shot.characters[0]
        self.armature: Any = bpy.data.objects[self.character.name]

    def frames(self, row: Accepted) -> list[int]:
        start = (self.shot.first or 0) - 1
        return list(range(start + (row.first or 1), start + (row.last or self.shot.count) + 1))

    def bone(self, part: str) -> str:
        return self.character.bones[self.character.index[part]].rpartition("/")[2]

    def skin(self, part: str, frames: list[int]) -> Array:
        """The vertices (F, N, 3) that hang mostly on the foot and its toe, world m."""
        bones = {self.bone(p) for p in (part, part.replace("foot", "toe")) if self.character.has(p)}
        skins = [(o, rows) for o in bpy.context.scene.objects if o.type == "MESH" and (rows := _rows(o, bones)).size]
        places = []
        for f in frames:
            bpy.context.scene.frame_set(f)
            graph = bpy.context.evaluated_depsgraph_get()
            places.append(np.concatenate([_vertices(o.evaluated_get(graph))[rows] for o, rows in skins]))
        return np.array(places)

    def belt(self) -> Array:
        """The step (2,) in m by which the feet go along while they touch, over the whole clip; 0 where they stand."""
        every = list(range(self.shot.first or 0, (self.shot.last or 0) + 1))
        feet = [self.skin(f"foot.{s}", every) for s in body.SIDES if self.character.has(f"foot.{s}")]
        step = np.nanmedian(np.concatenate([path_of(p, p[..., 2] < TOUCHES) for p in feet]), axis=0)
        return step * (np.linalg.norm(step) * self.shot.fps > WALKS * self.character.leg_length)

    def slide(self, row: Accepted) -> tuple[float, str]:
        skin, belt = self.skin(row.part, self.frames(row)), self.belt()
        slide = strayed(path_of(skin, skin[..., 2] < TOUCHES), belt)
        low = skin[..., 2].min(1)
        speed = float(np.linalg.norm(belt)) * self.shot.fps
        return slide / self.character.leg_length, (
            f"{row.part}: its skin, {100 * low.min():.1f} to {100 * low.max():.1f} cm over the floor, slides "
            f"{100 * slide:.1f} cm" + (f" against a belt of {speed:.2f} m/s" if speed else ""))

    def even(self, row: Accepted) -> tuple[float, str]:
        """1 less the spread of the turns against the parent bone, over their mean; 0 off the line between two keys."""
        turns = []
        for f in self.frames(row):
            bpy.context.scene.frame_set(f)
            rig = self.armature.evaluated_get(bpy.context.evaluated_depsgraph_get())
            bone = rig.pose.bones[self.bone(row.part)]
            turns.append((bone.parent.matrix.inverted() @ bone.matrix).to_quaternion())
        angles = np.array([a.rotation_difference(b).angle for a, b in zip(turns, turns[1:], strict=False)])
        steps = np.degrees(np.minimum(angles, 2 * np.pi - angles))
        off = off_line(np.array(turns))
        return (1 - float(np.ptp(steps) / steps.mean())) * (off <= MOST_OFF_LINE), (
            f"{row.part}: turns by {steps.min():.2f} to {steps.max():.2f} deg a frame, {len(steps)} times, within "
            f"{off:.4f} deg of the straight line between its first and last quaternion; {self.keys(row)}")

    def keys(self, row: Accepted, more: int = 0) -> str:
        """The file's keys of the row's bone in its frames and ``more`` after them: how they are joined, and how a place
        goes from one to the next."""
        data, bone = self.armature.animation_data, self.bone(row.part)
        start, stop = self.frames(row)[0], self.frames(row)[-1] + more
        words = []
        for curve in action_fcurves(data.action, slot_of(data)):
            if curve.data_path.startswith(f'pose.bones["{bone}"].'):
                told = [k for k in curve.keyframe_points if start <= k.co[0] <= stop]
                joined = "/".join(sorted({k.interpolation.lower() for k in told}))
                values = np.array([k.co[1] for k in told])
                path = curve.data_path.rpartition(".")[2]
                goes = ""
                if path == "location" and np.ptp(values) > 0.01 * self.character.leg_length:
                    goes = " (" + " ".join(f"{v:+.4f}" for v in np.diff(values)) + " from key to key)"
                found = f"{len(told)} {joined} keys in frames {start} to {stop}"
                words.append(f"{path}[{curve.array_index}]{goes}: {found}")
        same = {w.partition(": ")[2] for w in words}
        moving = [w for w in words if "(" in w]
        if len(same) == 1 and not moving:
            return f"its bone {bone} has on each channel {same.pop()}"
        return f"its bone {bone}: " + "; ".join(moving or words)

    def pull(self, row: Accepted) -> tuple[float, str]:
        """The least pulled of the row's limbs, each at its worst frame."""
        return min(self._pull(next(n for n, ps in body.LIMBS.items() if part in ps), self.frames(row))
                   for part in row.part.split(", "))

    def _pull(self, limb: str, frames: list[int]) -> tuple[float, str]:
        parts = body.LIMBS[limb]
        bones = [self.bone(p) for p in parts]
        rest = [np.array(self.armature.data.bones[b].head_local) for b in bones]
        whole = sum(float(np.linalg.norm(b - a)) for a, b in zip(rest, rest[1:], strict=False))
        worst = (0.0, f"{limb}: no pull")
        for f in frames:
            bpy.context.scene.frame_set(f)
            rig = self.armature.evaluated_get(bpy.context.evaluated_depsgraph_get())
            now = [np.array(rig.pose.bones[b].head) for b in bones]
            length = sum(float(np.linalg.norm(b - a)) for a, b in zip(now, now[1:], strict=False))
            grown = length / whole - 1
            gap = _gap(rig, now[2], whole)
            amount, word = max((grown, "longer than at rest"), (gap, "of its length from its IK target"))
            if amount > worst[0]:
                worst = (amount, f"{limb}: {100 * amount:.1f} % {word} in frame {f}, reaching "
                                 f"{float(np.linalg.norm(now[2] - now[0])) / length:.4f} of its bones' length")
        return worst


def off_line(turns: Array) -> float:
    """Degrees at most between unit quaternions (N, 4) and the straight line from the first to the last of them."""
    turns = turns * np.where(turns @ turns[0] < 0, -1.0, 1.0)[:, None]
    share = np.linspace(0.0, 1.0, len(turns))[:, None]
    line = (1 - share) * turns[0] + share * turns[-1]
    line /= np.linalg.norm(line, axis=-1, keepdims=True)
    return float(np.degrees(4 * np.arcsin(np.linalg.norm(turns - line, axis=-1).max() / 2)))


def _gap(rig: Any, end: Array, whole: float) -> float:
    """How far the target of the IK constraint whose chain ends at ``end`` (armature space) stands away, over length."""
    for bone in rig.pose.bones:
        for c in bone.constraints:
            if c.type == "IK" and not c.mute and c.target is not None and _near(bone.tail, end, whole):
                target = c.target.pose.bones[c.subtarget].head if c.subtarget else c.target.matrix_world.translation
                return float(np.linalg.norm(np.array(target) - np.array(bone.tail))) / whole * c.influence
    return 0.0


def _near(tip: Any, end: Array, whole: float) -> bool:
    return float(np.linalg.norm(np.array(tip) - end)) < 0.02 * whole


def _rows(mesh: Any, bones: set[str]) -> Array:
    groups = {g.index for g in mesh.vertex_groups if g.name in bones}
    return np.array([v.index for v in mesh.data.vertices if groups and
                     sum(e.weight for e in v.groups if e.group in groups) > 0.5 * sum(e.weight for e in v.groups)], int)


def _vertices(mesh: Any) -> Array:
    flat = np.empty(3 * len(mesh.data.vertices), np.float32)
    mesh.data.vertices.foreach_get("co", flat)
    world = np.array(mesh.matrix_world)
    return np.asarray(flat.reshape(-1, 3) @ world[:3, :3].T + world[:3, 3])


def file_of(folder: Path, clip: str) -> Path:
    """The file that holds the clip: a .glb holds many."""
    for path in sorted(folder.rglob("*.glb")):
        if clip.startswith(f"{path.stem} "):
            return path
    return next(p for p in sorted(folder.rglob(f"{clip}.blend")) if "as_published" not in p.parts)


def main(folder: Path) -> int:
    missing, opened, clip = 0, Path(), ""
    for row in corpus.accepted():
        if row.clip in clips.names(folder):
            if row.check in remeasure_spacing.BY_CHECK:
                shot = corpus.proxy(row.clip) if row.keyed else clips.load(row.clip, None, folder)
                there, words = remeasure_spacing.BY_CHECK[row.check](row, shot)
            elif row.check in remeasure_weight.BY_CHECK:
                there, words = remeasure_weight.BY_CHECK[row.check](row, remeasure_weight.shot_of(row))
            else:
                share, words = captured(row)
                there = share >= LEAST[row.check]
        else:
            path = file_of(folder, row.clip)
            if path != opened:
                (files.import_glb if path.suffix == ".glb" else files.open_blend)(path)
                opened, clip = path, ""
            if row.clip != clip:
                scene, clip = Scene(path, row.clip), row.clip
            plain = {**remeasure_weight.BY_CHECK, **remeasure_spacing.BY_CHECK}.get(row.check)
            if plain is not None:
                there, words = plain(row, scene.shot)
                words += f"; {scene.keys(row, 2)}" if row.check == "dead-stop" else ""
            else:
                measure = {"slip": scene.slide, "overextension": scene.pull, "linear-span": scene.even}[row.check]
                share, words = measure(row)
                there = share >= LEAST[row.check]
                if row.check == "overextension" and not there:  # not pulled, but clamped, with a jerk
                    there, words = remeasure_spacing.clamp(row, scene.shot)
        missing += not there
        print(f"{'there  ' if there else 'MISSING'} {row.clip}, frames {row.first} to {row.last}: {words}", flush=True)
    print(f"{len(corpus.accepted())} faults, {missing} missing")
    return int(missing > 0)


if __name__ == "__main__":
    if len(sys.argv) != 2 or not Path(sys.argv[1]).is_dir():
        print("usage: python -m tests.corpus.remeasure DIR, the folder with the hand-keyed files", file=sys.stderr)
        os._exit(2)
    code = main(Path(sys.argv[1]))
    sys.stdout.flush()
    os._exit(code)  # pip's bpy may hang where the interpreter ends by itself
