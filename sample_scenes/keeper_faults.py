# SPDX-License-Identifier: GPL-3.0-or-later
"""The faults planted in the keeper's second take: other keys on a few controls, each fault on frames of its own.

``PLANTED`` lists what a review must find there, and nothing else: check, part, severity, the frames inside which the note
lies, and its worst frame with how many frames it may be off.
"""
import math
from dataclasses import dataclass

import bpy

from ..blender_addon.compat import curves_of
from ..core.shot import GRAVITY
from . import keeper_shot

#: Turn of the hand's control, degrees; the hand hangs in it at rest.
WRIST = 52
#: The last frame of this take, which goes on after the clean one.
LAST = 280
#: The hop at its end: frames of take-off and landing, between them a parabola that gravity draws.
LEAVES, LANDS = 206, 216
#: Turn of the heel's control that lifts the toes, degrees.
TOES = -22


@dataclass(frozen=True)
class Fault:
    check: str
    part: str
    severity: str
    first: int
    last: int
    worst: int
    slack: int
    told: str


PLANTED = (
    Fault("undriven-move", "pelvis", "medium", 3, 24, 11, 3, "the hips are carried 10 cm aside within a third of a second"),
    Fault("twinned-stop", "chest", "low", 13, 24, 23, 1, "chest and head turn as one block, on the same keys"),
    Fault("joint-limit", "hand.L", "medium", 12, 32, 22, 1, "the wrist that carries the lantern is bent to 98 degrees"),
    Fault("frozen-part", "upper_arm.R", "medium", 25, 69, 47, 6, "the right hand's control is held for a second and a half while he climbs"),
    Fault("arc-break", "hand.L", "high", 57, 59, 58, 0, "one frame of the left hand stands 3.5 cm aside"),
    Fault("jitter", "hand.R", "medium", 67, 78, 72, 5, "the right hand is shaken by 2 cm to each side for seven frames"),
    Fault("thin-support", "foot.R", "medium", 74, 91, 83, 6, "the weight stands on the heel alone, the toes 22 degrees up"),
    Fault("pop", "forearm.R", "high", 95, 97, 96, 1, "one frame of the right hand pulls the elbow nearly straight"),
    Fault("linear-span", "head", "medium", 92, 105, 93, 1, "the head turns evenly between two corners"),
    Fault("airborne", "pelvis", "high", 106, 124, 115, 1, "the turn is a hop of half a second that rises 10 cm"),
    Fault("stuck-in-space", "head", "low", 128, 142, 138, 1, "neck and head lean back while the chest leaves, and snap after it"),
    Fault("slip", "foot.L", "medium", 142, 156, 155, 1, "the standing foot drifts 5 cm backward"),
    Fault("uneven-spacing", "hand.R", "medium", 157, 159, 158, 0, "one frame of the right hand's way up lags by 60 percent of a step"),
    Fault("overextension", "forearm.R", "medium", 164, 192, 189, 18, "the hand's goal is pulled 6 percent of the arm out of its reach"),
    Fault("dead-stop", "head", "medium", 174, 182, 181, 0, "the head nods faster and faster and stops in one frame"),
    Fault("hard-landing", "pelvis", "medium", 215, 222, 216, 1, "a hop of 20 cm is stopped within one frame"),
    Fault("off-balance", "pelvis", "medium", 250, 280, 262, 5, "the hips hang back behind the heels and he does not fall"),
    Fault("tangent", "thigh.L", "medium", 150, 199, 174, 24, "the lantern kisses the outline of the left thigh"),
)


def plant(rig):
    """Changes the clean shot's keys so that it shows the faults of PLANTED."""
    _wrist(rig)
    _head(rig)
    _drift(rig)
    _overreach(rig)
    _kiss(rig)
    _heel(rig)
    _carried(rig)
    _hop(rig)
    _block(rig)
    _frozen(rig)
    _wiggle(rig)
    _kink(rig)
    _stuck(rig)
    _uneven(rig)
    _landing(rig)
    _lean(rig)
    _nod(rig)
    _snap(rig)


def _wrist(rig):
    keeper_shot.key(rig, "hand_ctrl.L", "rotation_euler", [
        (12, math.radians(1.5), 0, 0), (22, math.radians(WRIST), 0, 0), (32, math.radians(3.8), 0, 0)])


def _head(rig):
    rows = [(f, *(math.radians(v) for v in turn)) for f, *turn in ((82, 0, 9, 0), (93, -2, 9, 0), (104, -4, 40, 0), (112, -4, 40, 0))]
    keeper_shot.key(rig, "head", "rotation_euler", rows)
    for curve, _ in curves_of(rig):
        if curve.data_path == 'pose.bones["head"].rotation_euler':
            next(p for p in curve.keyframe_points if round(p.co.x) == 93).interpolation = "LINEAR"


def _drift(rig):
    keeper_shot.key(rig, "foot_ctrl.L", "location", [(143, .10, -.80, 2 * keeper_shot.RISE), (155, .10, -.75, 2 * keeper_shot.RISE)])


def _overreach(rig):
    x, y, z = next(row[1:] for row in keeper_shot.HANDS["hand_ctrl.R"] if row[0] == 174)
    keeper_shot.key(rig, "hand_ctrl.R", "location", [(167, x, y, z + .07), (174, x, y, z + .08), (192, x, y, z + .08)])


def _kiss(rig):
    keeper_shot.key(rig, "hand_ctrl.L", "location", [(150, .05, -.085, .10), (164, .05, -.07, .095), (182, .05, -.085, .10), (192, .05, -.084, .10)])


def _heel(rig):
    keeper_shot.key(rig, "heel_pivot.R", "rotation_euler", [(f, math.radians(d), 0, 0) for f, d in ((76, 0), (79, TOES), (88, TOES), (91, 0))])
    keeper_shot.key(rig, "torso", "location", [(83, -.095, -.755, .265)])


def _carried(rig):
    keeper_shot.key(rig, "torso", "location", [(3, -.012, -.025, -.05), (11, .085, -.03, -.08)])


def _hop(rig):
    top = 2 * keeper_shot.RISE
    _without(rig, ("foot_ctrl.L", "foot_ctrl.R", "ball_pivot.L", "ball_pivot.R"), 105, 139)
    _without(rig, ("torso",), 105, 125)
    keeper_shot.key(rig, "foot_ctrl.L", "location", [(108, .02, -.79, top), (115, .06, -.79, top + .19), (122, .10, -.80, top)])
    keeper_shot.key(rig, "foot_ctrl.R", "location", [(108, 0, -.82, top), (115, .03, -.91, top + .19), (122, .05, -1.0, top)])
    for side, start, end in (("L", 8, 50), ("R", 0, 58)):
        keeper_shot.key(rig, f"foot_ctrl.{side}", "rotation_euler", [(108, 0, 0, math.radians(start)), (122, 0, 0, math.radians(end))])
        keeper_shot.key(rig, f"ball_pivot.{side}", "rotation_euler", [(104, 0, 0, 0), (140, 0, 0, 0)])
    keeper_shot.key(rig, "torso", "location", [(108, -.05, -.87, .305), (115, .01, -.868, .40), (122, .062, -.865, .305)])
    keeper_shot.key(rig, "hand_ctrl.R", "location", [(127, -.025, -.13, .05)])


def _block(rig):
    _without(rig, ("chest", "neck", "head"), 9, 29)
    for bone, lean, turn in (("chest", 2, 16), ("neck", 1, 0), ("head", -2, 26)):
        keeper_shot.key(rig, bone, "rotation_euler", [(f, math.radians(lean), math.radians(t), 0) for f, t in ((10, 0), (14, 0), (23, turn), (27, turn))])


def _frozen(rig):
    _without(rig, ("hand_ctrl.R",), 16, 63)
    keeper_shot.key(rig, "hand_ctrl.R", "location", [(26, -.028, -.13, .055), (62, -.028, -.13, .055)])


def _wiggle(rig):
    _aside(rig, "hand_ctrl.R", {f: ((-1) ** f * .02, 0, 0) for f in range(69, 76)})


def _kink(rig):
    _aside(rig, "hand_ctrl.L", {58: (.035, 0, 0)})


def _uneven(rig):
    """One frame of the hand's way up lags by 60 % of its step."""
    steps = [c.evaluate(157) - c.evaluate(158) for c in _places(rig, "hand_ctrl.R")]
    _aside(rig, "hand_ctrl.R", {158: [.6 * step for step in steps]}, 3)


def _nod(rig):
    """The head nods faster and faster and is stopped in one frame."""
    _without(rig, ("head",), 170, 192)
    keeper_shot.key(rig, "head", "rotation_euler", [(f, math.radians(lean), 0, math.radians(-2)) for f, lean in ((174, -14), (181, 8), (192, 8))])
    for curve, _ in curves_of(rig):
        if curve.data_path == 'pose.bones["head"].rotation_euler':
            start = next(p for p in curve.keyframe_points if round(p.co.x) == 174)
            start.interpolation, start.easing = "QUAD", "EASE_IN"


def _snap(rig):
    """One frame pulls the right elbow nearly straight."""
    _without(rig, ("hand_ctrl.R",), 104, 120)
    _aside(rig, "hand_ctrl.R", {96: (0, 0, -.0295)})


#: Turns of neck and head, degrees, that keep the head's top where it is in frame 128.
STUCK = (
    (128, -.8, 6.2, 0, -4.7, 7.8, 0), (129, 1.5, 6.2, -.7, -8.2, 7.8, .1), (130, 3, 6.2, -1.3, -10.5, 7.7, 0),
    (132, 4.5, 6.1, -2.5, -12.2, 7.6, -.5), (134, 4.6, 5.9, -4, -10.8, 7.4, -1.5), (136, 1.3, 5.8, -5.5, -3.6, 7.4, -2.1),
    (137, -4.4, 5.7, -7.6, 5.8, 7.3, .4), (138, -4, 5.5, -9, 6.3, 7.1, .7), (142, -3.2, 4, 0, -6.5, 4, 0),
)


def _stuck(rig):
    _without(rig, ("neck", "head"), 127, 141)
    for bone, k in (("neck", 1), ("head", 4)):
        keeper_shot.key(rig, bone, "rotation_euler", [(row[0], *(math.radians(v) for v in row[k:k + 3])) for row in STUCK])


def _landing(rig):
    """He takes the hand down, hops as gravity has it, and lands with hardly any give."""
    high, air = .27, (LANDS - LEAVES) / keeper_shot.FPS
    x, y, top = .086, -.953, 2 * keeper_shot.RISE
    keeper_shot.key(rig, "torso", "location", [
        (194, x, y, .313), (201, x, y, .14), (LEAVES, x, y, high), (LANDS, x, y, high), (LANDS + 1, x, y, high - .018), (228, x, y, .30)])
    for bone, place in (("foot_ctrl.L", (.10, -.75)), ("foot_ctrl.R", (.05, -1.0))):
        keeper_shot.key(rig, bone, "location", [(LEAVES, *place, top), (LANDS, *place, top)])
    for bone in ("torso", "foot_ctrl.L", "foot_ctrl.R"):
        _thrown(rig, bone, GRAVITY / 2 * air / keeper_shot.FPS)
    keeper_shot.key(rig, "hand_ctrl.R", "location", [(193, .072, -.327, .927), (204, -.04, -.20, .30), (214, -.06, -.16, .12), (226, -.03, -.10, .05), (243, -.025, -.06, .045), (LAST, -.04, -.15, .09)])
    keeper_shot.key(rig, "hand_ctrl.L", "location", [(193, .05, -.084, .10), (200, .12, -.11, .10), (206, .15, -.13, .10), (226, .13, -.11, .10), (244, .14, -.13, .105), (LAST, .135, -.12, .10)])
    for bone, rows in (("chest", ((203, 6, -3, -1), (213, -2, -2, 0), (222, 7, -1, 0), (240, 2, -3, -1), (256, 4, -2, 0), (LAST, 3, -3, 0))),
                       ("head", ((199, -4, 4, 0), (210, -8, 6, 0), (220, 2, 3, 0), (236, -4, -6, 1), (250, -2, 2, 0), (264, -5, 8, 0), (LAST, -5, 8, 0)))):
        keeper_shot.key(rig, bone, "rotation_euler", [(f, *(math.radians(v) for v in turn)) for f, *turn in rows])
    keeper_shot.key(rig, "hand_ctrl.R", "rotation_euler", [(193, math.radians(-141), 0, 0), (207, math.radians(-40), 0, 0), (218, 0, 0, 0), (246, math.radians(-3), 0, 0), (LAST, math.radians(2), 0, 0)])


def _thrown(rig, bone, slope):
    """Between take-off and landing the control's height is a parabola, which leaves and comes in by so much a frame."""
    keeper_shot.steer(rig, bone, 2, LEAVES, after=slope)
    keeper_shot.steer(rig, bone, 2, LANDS, before=-slope)


def _lean(rig):
    """The hips go back over nothing, slowly, and stay there."""
    back = .31
    keeper_shot.key(rig, "torso", "location", [(264, .086 - .77 * back, -.953 + .64 * back, .275), (LAST, .086 - .77 * back, -.95 + .64 * back, .275)])


def _places(rig, bone):
    """The three curves of a control's location."""
    path = f'pose.bones["{bone}"].location'
    return sorted((c for c, _ in curves_of(rig) if c.data_path == path), key=lambda c: c.array_index)


def _aside(rig, bone, far, beside=1):
    """Frames of a control's place moved aside, with keys on them and on the frames beside, which stay."""
    for k, curve in enumerate(_places(rig, bone)):
        values = {f: curve.evaluate(f) + far.get(f, (0, 0, 0))[k] for f in range(min(far) - beside, max(far) + beside + 1)}
        for frame, value in values.items():
            curve.keyframe_points.insert(frame, value)


def _without(rig, bones, first, last):
    """The bones' keys between two frames taken out."""
    for curve, _ in curves_of(rig):
        if any(curve.data_path.startswith(f'pose.bones["{bone}"]') for bone in bones):
            points = curve.keyframe_points
            for i in reversed(range(len(points))):
                if first <= points[i].co.x <= last:
                    points.remove(points[i])


def build():
    """Builds the faulty take in the open, empty file and returns the keeper's armature."""
    rig = keeper_shot.build()
    plant(rig)
    bpy.context.scene.frame_end = LAST
    bpy.context.scene.frame_set(keeper_shot.FIRST)
    return rig


def page():
    """The docs page: what is planted where."""
    rows = "\n".join(f"| `{f.check}` | {f.part} | {f.severity} | {f.first} to {f.last} | {f.worst} | {f.told} |" for f in PLANTED)
    return (
        "<!-- Written by `python3 build.py docs` from sample_scenes/keeper_faults.py. -->\n"
        "# The sample shots\n\n"
        "A lighthouse keeper climbs two steps with his lantern, turns, and reaches up to the lamp: "
        f"frames {keeper_shot.FIRST} to {keeper_shot.LAST} at {keeper_shot.FPS} frames a second, keyed by a script on a rig of our own "
        f"(sample_scenes/keeper_shot.py). The clean take raises no note. The faulty take goes on to frame {LAST} and has {len(PLANTED)} faults, "
        "and a review finds these and no others (tests/blender/test_sample_shots.py):\n\n"
        "| check | part | severity | inside frames | worst | what was done |\n|---|---|---|---|---|---|\n"
        f"{rows}\n")
