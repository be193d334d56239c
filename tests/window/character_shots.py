# SPDX-License-Identifier: GPL-3.0-or-later
"""Shots for characters.py, one for each kind of evidence: captured clips on our own skinned figure, and hand-keyed
characters of a folder, where one is given. Where a clip has no such fault, one is planted: a body that leans, feet
turned onto a heel, the toe tips or their outer edges.

    python -m tests.window.character_shots FOLDER

PLUMBLINE_HANDKEYED names the folder with the files animation-human-*.blend and the rig that they link. They are read
and never kept: FOLDER is one that git does not see.
"""

import os
import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import bpy
import numpy as np
from mathutils import Matrix, Vector
from plumbline.blender_addon.sampling.kept_cards import CARD_PROPERTY
from plumbline.core.card import Card
from plumbline.core.measures.mass import masses_of
from plumbline.core.measures.sole import carried, sole_of
from plumbline.core.numeric.ease import min_jerk
from plumbline.core.numeric.rotation import exp, unit
from plumbline.core.shot import SOLE_OUTLINE, SOLE_POINTS, Character, Sole
from plumbline.core.testing import clips, edit
from plumbline.core.testing.plant_tilts import tilts
from plumbline.core.testing.plants import prepared
from plumbline.core.testing.pods import Mesh

from ..corpus import files
from ..corpus.played import play, pods

Array = np.ndarray

#: Kind of evidence -> the clip that has it.
CAPTURED = {
    "balance": "humanoid3d_jump", "slip": "humanoid3d_roll", "flight": "humanoid3d_backflip",
    "landing": "humanoid3d_backflip", "heel": "test_mocapbank", "toe": "test_mocapbank", "edge": "test_mocapbank",
}
HANDKEYED = {
    "balance": "consume-powerup", "slip": "dance-body-roll", "flight": "backflip", "landing": "backflip",
    "heel": "idle-listening", "toe": "idle-listening", "edge": "idle-listening",
}
#: How the feet are planted: the points of the sole that stay, and degrees about its left and about where it points.
TIPPED = {
    "heel": (("heel",), (-22.0, 0.0)),
    "toe": (("toe_tip",), (32.0, 0.0)),
    "edge": (("heel_outer", "ball_outer"), (0.0, 24.0)),
}
#: Frames in which the feet are turned wholly, and those in which they are turned up to there, and back.
HELD, RAMP = 16, 3
#: Frames of the stand with which the clip for planted feet begins.
STAND = 44


def tips(c: Character, side: str, kind: str, middle: int) -> tuple[Array, Array]:
    """Places (F, 3) in meters about which a foot is turned, and its turns (F, 3, 3) in the world."""
    sole = carried(c, sole_of(c, side))
    names, (pitch, roll) = TIPPED[kind]
    about = sole[:, [SOLE_POINTS.index(name) for name in names]].mean(1)
    ahead = unit(sole[:, SOLE_POINTS.index("ball")] - sole[:, SOLE_POINTS.index("heel")])
    left = unit(np.cross(np.broadcast_to(c.up, ahead.shape), ahead))
    away = np.abs(np.arange(len(sole)) - middle)
    weight = min_jerk(1 - (away - HELD / 2) / RAMP)[:, None]
    roll = roll if side == "R" else -roll
    return about, exp(np.radians(weight) * (pitch * left + roll * ahead))


def floor(height: float) -> None:
    """A level mesh that the feet stand on, in scene units."""
    bpy.ops.mesh.primitive_plane_add(size=12.0, location=(0.0, 0.0, height))
    bpy.context.object.name = "Floor"


def captured(kind: str) -> None:
    """The clip at 24 frames a second on our own figure; its feet are planted in a stand that the clip begins with."""
    shot = clips.load(CAPTURED[kind], 24.0)
    if kind == "balance":
        shot = next(case.shot for case in tilts(prepared(shot)) if "forward" in case.name and case.size == "middle")
    who = shot.characters[0]
    soles = {side: sole_of(who, side) for side in "LR"}
    meshes = pods(who) | {f"foot.{side}": shoe(sole, 0.045 * who.height) for side, sole in soles.items()}
    count = min(len(who.heads), STAND if kind in TIPPED else len(who.heads))
    bpy.ops.wm.read_factory_settings(use_empty=True)
    scene = bpy.context.scene
    scene.render.fps, scene.frame_start, scene.frame_end = 24, 1, count
    if kind in TIPPED:
        floor(min(float((carried(who, sole)[0] @ who.up).min()) for sole in soles.values()))
        for side in "LR":
            who = edit.rolled(who, f"foot.{side}", *tips(who, side, kind, count // 2))
    rig = play(scene, who, meshes, count)
    # the head of this flesh is larger than people's, so that without a card its masses were a guess
    known = masses_of(who)
    weighed = dict.fromkeys(who.parts, 0.1) | dict(zip(known.parts, known.mass.round(2).tolist(), strict=True))
    rig[CARD_PROPERTY] = Card(masses=weighed).write()


def shoe(sole: Sole, height: float) -> Mesh:
    """A slab on the outline of a sole, a little smaller above."""
    outline = np.asarray(sole.points)[SOLE_OUTLINE]
    middle = outline.mean(0)
    above = middle + 0.8 * (outline - middle) + [0.0, 0.0, height]
    n = len(outline)
    sides = [(k, (k + 1) % n, n + (k + 1) % n, n + k) for k in range(n)]
    return np.concatenate([outline, above]), [tuple(range(n))[::-1], tuple(range(n, 2 * n)), *sides]


def handkeyed(kind: str, folder: Path) -> None:
    """The clip as its people keyed it; a planted turn of the feet as keys on the controls that they follow."""
    files.open_blend(next(folder.rglob(f"animation-human-{HANDKEYED[kind]}.blend")))
    scene = bpy.context.scene
    if kind not in TIPPED:
        return
    shot = files.sampled()
    who = shot.characters[0]
    rig = next(o for o in scene.objects if o.type == "ARMATURE")
    middle = shot.count // 2
    turns = {side: tips(who, side, kind, middle) for side in "LR"}
    frames, bones = shot.frames.astype(int).tolist(), {side: rig.pose.bones[f"CTRL_ILLEG_{side}"] for side in "LR"}
    own = {side: [] for side in "LR"}
    for frame in frames:
        scene.frame_set(frame)
        for side, bone in bones.items():
            own[side].append(rig.matrix_world @ bone.matrix)
    for row, frame in enumerate(frames):
        scene.frame_set(frame)
        for side, (about, turn) in turns.items():
            here = Matrix.Translation(Vector(about[row] / shot.unit_scale))
            world = here @ Matrix(turn[row].tolist()).to_4x4() @ here.inverted() @ own[side][row]
            bones[side].matrix = rig.matrix_world.inverted() @ world
            for path in ("location", "rotation_quaternion"):
                bones[side].keyframe_insert(path, frame=frame)
    floor(0.0)


def main(folder: Path, more: Path | None) -> None:
    sources: dict[str, Callable[[str], Any]] = {"captured": captured}
    if more is not None:
        sources["handkeyed"] = partial(handkeyed, folder=more)
    for source, build in sources.items():
        for kind in CAPTURED:
            build(kind)
            bpy.ops.wm.save_as_mainfile(filepath=str(folder / f"{source}-{kind}.blend"), compress=True)


if __name__ == "__main__":
    handkeyed_in = os.environ.get("PLUMBLINE_HANDKEYED")
    main(Path(sys.argv[1]), Path(handkeyed_in) if handkeyed_in else None)
    os._exit(0)  # pip's bpy may hang where the interpreter ends by itself
