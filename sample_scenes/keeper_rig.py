# SPDX-License-Identifier: GPL-3.0-or-later
"""The lighthouse keeper: a rig as animators know it (controls, IK legs with heel and ball pivots, IK arms) and a skin.

He stands on z = 0, faces -Y, has his left at +X; 1.75 m. Spine controls are turned by Euler angles in degrees, in this order:
lean forward, turn left, lean right.
"""
import bpy
import numpy as np
from mathutils import Vector

from ..core.testing.puppet import adult
from .keeper_set import add_mesh

HEEL, BALL = 0.085, -0.11                    # y of heel and ball against the hip line, meters
ALONG = 0.06                                 # length of control bones; they point along +Y, so their axes are the world's


def build(scene, name="Keeper"):
    """The armature object with its skin, linked to the scene. Returns (rig, skin)."""
    figure = adult()
    places = {p: (Vector(h), Vector(t)) for p, h, t in zip(figure.parts, figure.heads, figure.tails, strict=True)}
    armature = bpy.data.armatures.new(name)
    rig = bpy.data.objects.new(name, armature)
    scene.collection.objects.link(rig)
    bpy.context.view_layer.objects.active = rig
    bpy.ops.object.mode_set(mode="EDIT")
    _bones(armature.edit_bones, places)
    bpy.ops.object.mode_set(mode="OBJECT")
    for bone in armature.bones:
        bone.use_deform = bone.name in places
    _constrain(rig)
    for bone in rig.pose.bones:
        bone.rotation_mode = "XYZ"
    return rig, _skin(scene, rig, places)


def _bones(bones, places):
    def add(name, head, tail=None, parent=None):
        bone = bones.new(name)
        bone.head = head
        bone.tail = tail if tail is not None else Vector(head) + Vector((0, ALONG, 0))
        bone.roll = 0.0
        bone.parent = bones[parent] if parent else None
        return bone

    add("root", (0, 0, 0), (0, 0.3, 0))
    add("torso", places["pelvis"][0], parent="root")
    above = "torso"
    for part in ("pelvis", "spine", "chest", "neck", "head"):
        add(part, *places[part], parent=above)
        above = part
    for side, sign in (("L", 1), ("R", -1)):
        def s(part, side=side):
            return f"{part}.{side}"
        for part, parent in (("clavicle", "chest"), ("upper_arm", s("clavicle")), ("forearm", s("upper_arm")), ("hand", s("forearm")),
                             ("thigh", "pelvis"), ("shin", s("thigh")), ("foot", s("shin")), ("toe", s("foot"))):
            add(s(part), *places[s(part)], parent=parent)
        ankle, toe = places[s("foot")][0], places[s("toe")][0]
        x = ankle.x
        add(s("foot_ctrl"), (x, ankle.y, 0), parent="root")
        add(s("heel_pivot"), (x, HEEL, 0), parent=s("foot_ctrl"))
        add(s("ball_pivot"), (x, BALL, 0), parent=s("heel_pivot"))
        add(s("ankle_goal"), *places[s("foot")], parent=s("ball_pivot"))
        add(s("toe_hold"), toe, places[s("toe")][1], parent=s("heel_pivot"))
        add(s("knee_pole"), (x, -0.8, 0.5), parent=s("foot_ctrl"))
        wrist = places[s("hand")][0]
        add(s("hand_ctrl"), wrist, parent="chest")
        add(s("hand_goal"), *places[s("hand")], parent=s("hand_ctrl"))
        add(s("elbow_pole"), (sign * 0.45, 0.7, 1.1), parent="chest")


def _constrain(rig):
    for side in ("L", "R"):
        for last, goal, pole, root in ((f"shin.{side}", f"ankle_goal.{side}", f"knee_pole.{side}", f"thigh.{side}"),
                                       (f"forearm.{side}", f"hand_goal.{side}", f"elbow_pole.{side}", f"upper_arm.{side}")):
            ik = rig.pose.bones[last].constraints.new("IK")
            ik.target, ik.subtarget, ik.pole_target, ik.pole_subtarget, ik.chain_count = rig, goal, rig, pole, 2
            ik.pole_angle = _pole_angle(rig.data.bones[root], rig.data.bones[last], rig.data.bones[pole].head_local)
        for part, source in ((f"foot.{side}", f"ankle_goal.{side}"), (f"toe.{side}", f"toe_hold.{side}"), (f"hand.{side}", f"hand_goal.{side}")):
            follow = rig.pose.bones[part].constraints.new("COPY_ROTATION")
            follow.target, follow.subtarget = rig, source


def _pole_angle(root, last, pole):
    """The pole angle at which the chain rests unturned."""
    along = root.tail_local - root.head_local
    normal = (last.tail_local - root.head_local).cross(pole - root.head_local)
    flat = normal.cross(along)
    x = root.matrix_local.to_3x3().col[0]
    angle = x.angle(flat)
    return -angle if x.cross(flat).angle(along) < 1 else angle


# ---- the skin ----------------------------------------------------------------------------------------------

_GIRTH = {"pelvis": (.15, .11), "spine": (.14, .10), "chest": (.17, .11), "neck": (.055, .055), "clavicle": (.05, .05),
          "upper_arm": (.048, .048), "forearm": (.038, .038), "hand": (.042, .022), "thigh": (.078, .08), "shin": (.052, .055)}


def _skin(scene, rig, places):
    """One mesh: a rounded piece for each bone, weighted to it alone; shoes with flat soles; a head with a cap."""
    verts, faces, owner = [], [], []

    def add(points, quads, part):
        start = len(verts)
        verts.extend(points)
        faces.extend(tuple(start + i for i in q) for q in quads)
        owner.extend([part] * len(points))

    for part, (head, tail) in places.items():
        base = part.partition(".")[0]
        if base in _GIRTH:
            add(*_pill(np.array(head), np.array(tail), *_GIRTH[base]), part)
        elif base == "foot":
            add(*_box((head.x - .045, HEEL, 0), (head.x + .045, BALL, .07), top=.035), part)
            add(*_pill(np.array((head.x, .03, .03)), np.array((head.x, .0, .11)), .042, .045), part)
        elif base == "toe":
            add(*_box((head.x - .045, BALL, 0), (head.x + .045, BALL - .085, .045), top=.02), part)
    head, tail = (np.array(v) for v in places["head"])
    add(*_pill(head + (0, -.01, .03), tail - (0, 0, .02), .075, .092), "head")
    add(*_pill(tail - (0, 0, .055), tail + (0, 0, .015), .088, .102), "head")
    add(*_box((-.07, -.08, float(tail[2]) - .055), (.07, -.175, float(tail[2]) - .035), top=.02), "head")
    skin = add_mesh("Keeper Skin", verts, faces, scene)
    skin.parent = rig
    for part in places:
        rows = [i for i, p in enumerate(owner) if p == part]
        skin.vertex_groups.new(name=part).add(rows, 1.0, "REPLACE")
    skin.modifiers.new("Armature", "ARMATURE").object = rig
    return skin


def _pill(head, tail, wide, deep, rings=9, around=14):
    """A rounded closed tube: ``wide`` and ``deep`` are its half widths across x and y (as near as its direction lets)."""
    along = tail - head
    length = np.linalg.norm(along)
    y = along / length
    x = np.array([1.0, 0, 0]) if abs(y[0]) < 0.8 else np.array([0, 1.0, 0])
    x = x - (x @ y) * y
    x /= np.linalg.norm(x)
    z = np.cross(x, y)
    points = []
    for t in np.linspace(-1, 1, rings):
        swell = np.sqrt(max(0.02, 1 - abs(t) ** 4))
        centre = head + along * (t + 1) / 2 + y * t * 0.35 * min(wide, deep)
        for a in np.linspace(0, 2 * np.pi, around, endpoint=False):
            points.append(centre + swell * (wide * np.cos(a) * x + deep * np.sin(a) * z))
    quads = [(r * around + k, r * around + (k + 1) % around, (r + 1) * around + (k + 1) % around, (r + 1) * around + k)
             for r in range(rings - 1) for k in range(around)]
    quads += [tuple(reversed(range(around))), tuple(range((rings - 1) * around, rings * around))]
    return points, quads


def _box(low, high, top):
    """A closed box whose top is drawn in by ``top``."""
    (x0, y0, z0), (x1, y1, z1) = low, high
    c, s = top / 2, 1 if y1 > y0 else -1
    points = [(x0, y0, z0), (x1, y0, z0), (x1, y1, z0), (x0, y1, z0),
              (x0 + c, y0 + s * c, z1), (x1 - c, y0 + s * c, z1), (x1 - c, y1 - s * c, z1), (x0 + c, y1 - s * c, z1)]
    quads = [(0, 3, 2, 1), (4, 5, 6, 7), (0, 1, 5, 4), (1, 2, 6, 5), (2, 3, 7, 6), (3, 0, 4, 7)]
    return [np.array(p) for p in points], quads
