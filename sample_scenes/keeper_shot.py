# SPDX-License-Identifier: GPL-3.0-or-later
"""The shot: the keeper climbs two steps with his lantern, turns to the lamp and reaches up to it. 24 frames a second.

Keys are told as an animator would set them: a control, a frame, a value; each part on its own frames, feet held between two
equal keys, the head ahead of a move and the chest after it. Places are meters from the control's rest, angles degrees.
"""
import math

import bpy

from ..blender_addon.compat import curves_of
from . import keeper_rig, keeper_set

FPS, FIRST, LAST = 24, 1, 192
RISE = keeper_set.RISE
STEP_1, STEP_2 = (-0.46, RISE), (-0.82, 2 * RISE)     # where an ankle stands on each: y, z

#: Feet: control -> rows of (frame, x, y, z, heading). Two equal rows hold the foot.
FEET = {
    "foot_ctrl.L": ((1, 0, 0, 0, 0), (26, 0, 0, 0, 0), (33, .005, -.25, .27, 0), (39, 0, *STEP_1, 0), (74, 0, *STEP_1, 0),
                    (81, .02, -.66, .46, 4), (89, .02, -.79, STEP_2[1], 8), (104, .02, -.79, STEP_2[1], 8),
                    (110, .07, -.77, .42, 30), (116, .10, -.80, STEP_2[1], 50)),
    "foot_ctrl.R": ((1, 0, 0, 0, 0), (49, 0, 0, 0, 0), (57, -.005, -.42, .45, 0), (66, 0, *STEP_2, 0), (124, 0, *STEP_2, 0),
                    (131, .02, -.90, .42, 30), (138, .05, -1.0, STEP_2[1], 58)),
}
#: Heel lift about the ball, degrees: control -> rows of (frame, degrees).
BALLS = {
    "ball_pivot.L": ((1, 0), (18, 0), (26, 22), (31, 26), (39, 0), (60, 0), (74, 44), (79, 30), (89, 0), (98, 0), (104, 16), (108, 18), (116, 0)),
    "ball_pivot.R": ((1, 0), (36, 0), (49, 48), (54, 36), (66, 0), (116, 0), (124, 18), (128, 18), (138, 0)),
}
#: The torso: (frame, x, y, z).
TORSO = (
    (1, -.012, -.025, -.025), (12, -.02, -.025, -.03), (24, -.072, -.03, -.035), (33, -.070, -.075, -.04), (40, -.035, -.18, -.06),
    (49, .040, -.37, -.01), (57, .066, -.475, .085), (66, .045, -.55, .135), (74, -.035, -.69, .19), (83, -.078, -.83, .29),
    (92, -.045, -.86, .305), (102, -.085, -.865, .31), (112, -.060, -.87, .305), (121, .060, -.865, .305),
    (131, .105, -.88, .31), (142, .070, -.935, .305), (156, .078, -.95, .29), (170, .088, -.955, .318), (192, .086, -.953, .315),
)
#: Spine controls: (frame, lean forward, turn left, lean right), degrees.
SPINE = {
    "pelvis": ((1, 2, 0, 1), (12, 2, 0, 1.5), (24, 3, 2, 3), (36, 6, 5, 0), (48, 10, 0, -3), (60, 8, -4, -2), (72, 9, -2, 1), (84, 6, 5, 3),
               (96, 3, 8, 1), (104, 3, 14, 2.5), (116, 4, 34, 0), (128, 3, 46, -2.5), (140, 3, 54, -1), (156, 5, 56, 0), (170, 0, 55, -1), (192, 0, 55, -1)),
    "spine": ((1, 1, 0, 0), (26, 2, -1, -1), (38, 4, -3, 0), (50, 6, 0, 1), (74, 5, 1, 0), (98, 1, 3, -1), (118, 2, 6, 0), (142, 1, 3, 0),
              (158, 4, 2, 0), (172, -5, 0, -1), (192, -5, 0, -1)),
    "chest": ((1, 2, 0, -1), (14, 1, 0, -1), (28, 3, -3, -2), (40, 4, -4, 0), (52, 6, 1, 2), (64, 5, 4, 1), (76, 5, 1, -1), (88, 3, -4, -2),
              (100, 1, 4, -1), (118, 2, 12, 0), (134, 1, 8, 1), (146, 1, 4, 0), (160, 4, 2, 0), (174, -8, -4, -3), (192, -7.5, -4, -3)),
    "neck": ((1, 4, 0, 0), (16, -4, 3, 0), (30, 3, 0, 0), (54, 4, 0, 0), (70, 2, 2, 0), (94, 0, 6, 0), (110, 0, 10, 0), (136, -2, 4, 0),
             (152, -6, 2, 0), (168, -8, 1, 0), (192, -8, 1, 0)),
    "head": ((1, 2, 0, 0), (9, -3, 3, 1), (20, -8, 4, 1), (30, 6, 1, 0), (44, 10, 0, 0), (58, 8, -1, 0), (72, 4, 3, 0), (90, -2, 12, 0),
             (104, -4, 20, 0), (118, -4, 14, 0), (134, -6, 5, 0), (150, -12, 2, -1), (166, -14, 0, -2), (178, -12.5, 0, -2), (192, -13, .5, -2)),
    "clavicle.R": ((1, 0, 0, 0), (148, 0, 0, 0), (168, 0, 0, 14), (192, 0, 0, 14)),
}
#: Hands in the chest's space: (frame, x, y, z).
HANDS = {
    "hand_ctrl.L": ((1, .05, -.10, .10), (18, .05, -.10, .105), (34, .055, -.03, .10), (50, .06, -.14, .11), (66, .055, -.06, .105),
                    (82, .06, -.13, .11), (98, .055, -.09, .105), (120, .06, -.11, .11), (144, .055, -.10, .105), (164, .115, -.07, .095),
                    (182, .12, -.085, .10), (192, .12, -.084, .10)),
    "hand_ctrl.R": ((1, -.02, -.04, .03), (16, -.02, -.05, .03), (32, -.03, -.17, .06), (46, -.025, -.02, .035), (62, -.03, .06, .05),
                    (78, -.03, -.13, .05), (96, -.02, -.04, .03), (106, -.03, -.085, .06), (118, -.025, -.055, .035), (136, -.02, -.03, .03), (146, -.025, -.05, .045),
                    (156, -.09, -.30, .33), (167, .06, -.33, .90), (174, .075, -.325, .935), (192, .072, -.327, .928)),
}
#: Turn of the hand controls: (frame, x, y, z), degrees.
WRISTS = {
    "hand_ctrl.L": ((1, 0, 0, 0), (36, 4, 0, 0), (52, -3, 0, 0), (84, 3, 0, 0), (100, 0, 0, 0), (166, 3, 0, 0), (192, 2, 0, 0)),
    "hand_ctrl.R": ((1, 0, 0, 0), (34, -8, 0, 0), (64, 6, 0, 0), (98, 0, 0, 0), (148, -4, 0, 0), (158, -45, 0, 0), (170, -135, 0, 0), (176, -142, 0, 0), (192, -141, 0, 0)),
}
POLES = {"elbow_pole.R": ((1, 0, 0, 0), (148, 0, 0, 0), (168, -.25, -.35, -.1), (192, -.25, -.35, -.1))}


def build():
    """Builds the whole shot in the open, empty file and returns the keeper's armature."""
    scene = bpy.context.scene
    scene.render.fps, scene.render.fps_base = FPS, 1.0
    scene.frame_start, scene.frame_end = FIRST, LAST
    rig, _ = keeper_rig.build(scene)
    keeper_set.build(scene, rig)
    for bone, rows in FEET.items():
        key(rig, bone, "location", [(f, x, y, z) for f, x, y, z, _ in rows])
        key(rig, bone, "rotation_euler", [(f, 0, 0, math.radians(turn)) for f, *_, turn in rows])
    for bone, lifts in BALLS.items():
        key(rig, bone, "rotation_euler", [(f, math.radians(lift), 0, 0) for f, lift in lifts])
    key(rig, "torso", "location", TORSO)
    for table in (SPINE, WRISTS):
        for bone, turns in table.items():
            key(rig, bone, "rotation_euler", [(f, *(math.radians(v) for v in values)) for f, *values in turns])
    for table in (HANDS, POLES):
        for bone, places in table.items():
            key(rig, bone, "location", places)
    scene.frame_set(FIRST)
    return rig


def key(rig, bone, path, rows):
    """Bezier keys with clamped handles on one control: rows of (frame, values ...)."""
    owner = rig.pose.bones[bone]
    for frame, *values in rows:
        setattr(owner, path, values)
        owner.keyframe_insert(path, frame=frame)


def steer(rig, bone, axis, frame, before=None, after=None):
    """One curve of a control's location comes to its key on ``frame`` and leaves it by so many meters a frame; None: as it does."""
    path = f'pose.bones["{bone}"].location'
    curve = next(c for c, _ in curves_of(rig) if c.data_path == path and c.array_index == axis)
    points = sorted(curve.keyframe_points, key=lambda p: p.co.x)
    k = next(k for k, p in enumerate(points) if round(p.co.x) == frame)
    points[k].handle_left_type = points[k].handle_right_type = "FREE"
    x, y = points[k].co
    if before is not None:
        third = (x - points[k - 1].co.x) / 3
        points[k].handle_left = x - third, y - third * before
    if after is not None:
        third = (points[k + 1].co.x - x) / 3
        points[k].handle_right = x + third, y + third * after
    curve.update()
