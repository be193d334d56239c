# SPDX-License-Identifier: GPL-3.0-or-later
"""The keeper hops off a step of 30 cm: keyed by script as an animator sets keys, a clip to plant faults of flights in.

He sinks into a crouch, swings his arms back, pushes off evenly, flies the parabola that gravity draws between two keys
with handles of his own, lands on his toes and gives evenly, then stands up. Places are meters from the control's rest,
angles degrees; 24 frames a second.
"""

import math
from typing import Any

import bpy
from plumbline.core.shot import GRAVITY
from plumbline.sample_scenes import keeper_rig, keeper_set
from plumbline.sample_scenes.keeper_shot import FPS, key, steer

FIRST, LAST = 1, 84
#: Frames of the last touch of the step and of the first of the ground, and what lies between: meters.
LEAVES, LANDS = 36, 47
#: Meters that he falls, that his hips go ahead in the air, and his feet.
DROP, FAR, STEP = 0.30, 0.30, 0.42
AIR = (LANDS - LEAVES) / FPS
#: Meters a frame: up as he leaves, down as he lands, ahead all the while.
UP, DOWN = ((GRAVITY * AIR / 2 - DROP / AIR) / FPS, (GRAVITY * AIR / 2 + DROP / AIR) / FPS)
AHEAD = FAR / AIR / FPS
#: Hips over their rest as he leaves and as he lands, and how deep he crouches and gives, meters.
STRETCHED, CROUCH, GIVE = 0.02, 0.25, 0.23
#: y of the edge of the step.
EDGE = -0.215

TORSO = (
    (1, 0, -.02, -.025), (12, 0, -.015, -.035), (26, 0, .02, -CROUCH), (LEAVES, 0, -.15, STRETCHED),
    (LANDS, 0, -.15 - FAR, STRETCHED - DROP), (52, 0, .03 - STEP, -DROP - GIVE), (66, 0, -.01 - STEP, -.03 - DROP),
    (LAST, 0, -.02 - STEP, -.025 - DROP),
)
FEET = ((1, 0, 0, 0), (LEAVES, 0, 0, 0), (LANDS, 0, -STEP, -DROP), (LAST, 0, -STEP, -DROP))
#: Heel lift about the ball: (frame, degrees).
BALLS = ((1, 0), (29, 0), (LEAVES, 45), (42, 42), (LANDS, 26), (50, 0), (LAST, 0))
#: (frame, lean forward), degrees.
SPINE = {
    "pelvis": ((1, 2), (13, 3), (26, 26), (LEAVES, 8), (LANDS, 12), (53, 22), (67, 3), (LAST, 2)),
    "spine": ((1, 1), (14, 2), (27, 12), (37, 3), (46, 4), (54, 10), (68, 1), (LAST, 1)),
    "chest": ((1, 2), (15, 3), (28, 8), (38, 2), (45, 4), (55, 8), (69, 1), (LAST, 2)),
    "neck": ((1, 2), (13, 4), (29, -6), (39, 2), (48, 0), (56, -4), (70, 2), (LAST, 2)),
    "head": ((1, 2), (11, 6), (28, -10), (38, 8), (46, 4), (57, -6), (71, 0), (LAST, 1)),
}
#: Both hands in the chest's space: (frame, out, y, z).
HANDS = ((1, .02, -.04, .03), (14, .03, -.05, .035), (25, .04, .16, .07), (37, .05, -.24, .14), (47, .10, -.22, .13),
         (54, .06, -.05, .05), (68, .02, -.05, .035), (LAST, .02, -.04, .03))


def build() -> Any:
    """Builds the take in the open, empty file and returns the keeper's armature."""
    scene = bpy.context.scene
    scene.render.fps, scene.render.fps_base = FPS, 1.0
    scene.frame_start, scene.frame_end = FIRST, LAST
    rig, _ = keeper_rig.build(scene)
    step, floor = ((-.55, EDGE, -1), (.55, 1.0, 0)), ((-.55, -2.0, -1), (.55, EDGE, -DROP))
    ground = keeper_set.boxes("Stair", [step, floor], scene)
    ground["plumbline_ground"] = True
    key(rig, "torso", "location", TORSO)
    for bone, leans in SPINE.items():
        key(rig, bone, "rotation_euler", [(f, math.radians(lean), 0, 0) for f, lean in leans])
    for side, sign in (("L", 1), ("R", -1)):
        key(rig, f"foot_ctrl.{side}", "location", FEET)
        key(rig, f"ball_pivot.{side}", "rotation_euler", [(f, math.radians(lift), 0, 0) for f, lift in BALLS])
        key(rig, f"hand_ctrl.{side}", "location", [(f, sign * x, y, z) for f, x, y, z in HANDS])
    steer(rig, "torso", 2, LEAVES, UP, UP)
    steer(rig, "torso", 2, LANDS, -DOWN, -DOWN)
    for bone in ("foot_ctrl.L", "foot_ctrl.R"):
        steer(rig, bone, 2, LEAVES, after=UP)
        steer(rig, bone, 2, LANDS, before=-DOWN)
    steer(rig, "torso", 1, LEAVES, -AHEAD, -AHEAD)
    steer(rig, "torso", 1, LANDS, -AHEAD, -AHEAD)
    scene.frame_set(FIRST)
    return rig
