# SPDX-License-Identifier: GPL-3.0-or-later
"""The lighthouse stair, the lamp, the lantern and the camera."""
import bpy
from mathutils import Matrix, Vector

RISE = 0.17                                  # height of a step, meters
COLORS = {"Stair": (.42, .45, .47, 1), "Lamp": (.78, .70, .45, 1), "Lantern": (.60, .38, .10, 1), "Keeper Skin": (.22, .30, .38, 1)}
FIRST_STEP, LANDING = -0.38, -0.72           # y at which the first step and the landing begin


def build(scene, rig):
    """Adds the set to the scene; the lantern hangs from the keeper's left hand."""
    ground = boxes("Stair", [((-.55, FIRST_STEP, -.1), (.55, 1.2, 0)), ((-.55, LANDING, -.1), (.55, FIRST_STEP, RISE)),
                              ((-.55, -2.2, -.1), (.55, LANDING, 2 * RISE))], scene)
    ground["plumbline_ground"] = True
    boxes("Lamp", [((.42, -1.62, 2.28), (.82, -1.22, 2.8)), ((.59, -1.45, 2.8), (.65, -1.39, 3.4))], scene)
    lantern = _lantern(scene)
    lantern["plumbline_prop"] = True
    hand = rig.pose.bones["hand.L"].bone
    lantern.parent, lantern.parent_type, lantern.parent_bone = rig, "BONE", "hand.L"
    grip = Matrix.Translation(hand.head_local.lerp(hand.tail_local, 0.55))
    lantern.matrix_parent_inverse = (hand.matrix_local @ Matrix.Translation((0, hand.length, 0))).inverted()
    lantern.matrix_basis = grip
    camera = bpy.data.objects.new("Camera", bpy.data.cameras.new("Camera"))
    scene.collection.objects.link(camera)
    camera.data.lens = 46
    camera.location = (3.7, -4.5, 2.15)
    camera.rotation_euler = (Vector((0.0, -.52, 1.2)) - camera.location).to_track_quat("-Z", "Y").to_euler()
    scene.camera = camera


def boxes(name, boxes, scene):
    verts, faces = [], []
    for (x0, y0, z0), (x1, y1, z1) in boxes:
        n = len(verts)
        verts += [(x0, y0, z0), (x1, y0, z0), (x1, y1, z0), (x0, y1, z0), (x0, y0, z1), (x1, y0, z1), (x1, y1, z1), (x0, y1, z1)]
        faces += [tuple(n + i for i in q) for q in ((0, 3, 2, 1), (4, 5, 6, 7), (0, 1, 5, 4), (1, 2, 6, 5), (2, 3, 7, 6), (3, 0, 4, 7))]
    return add_mesh(name, verts, faces, scene)


def _lantern(scene, around=12):
    """A ring handle, a cap, a glass and a foot, hanging below its own origin."""
    from math import cos, pi, sin
    profile = ((0, -.075), (.028, -.078), (.05, -.10), (.042, -.105), (.045, -.20), (.055, -.205), (.055, -.225), (0, -.225))
    verts, faces = [], []
    for radius, z in profile:
        verts += [(radius * cos(2 * pi * k / around), radius * sin(2 * pi * k / around), z) for k in range(around)]
    for r in range(len(profile) - 1):
        faces += [(r * around + k, r * around + (k + 1) % around, (r + 1) * around + (k + 1) % around, (r + 1) * around + k) for k in range(around)]
    start = len(verts)
    for k in range(around):                      # the handle: a ring through the hand
        a = 2 * pi * k / around
        for b in (0, 2 * pi / 3, 4 * pi / 3):
            r = .036 + .005 * cos(b)
            verts.append((r * cos(a), .005 * sin(b), -.038 + r * sin(a)))
    faces += [(start + 3 * k + b, start + 3 * k + (b + 1) % 3, start + 3 * ((k + 1) % around) + (b + 1) % 3, start + 3 * ((k + 1) % around) + b)
              for k in range(around) for b in range(3)]
    return add_mesh("Lantern", verts, faces, scene)


def add_mesh(name, verts, faces, scene):
    """A mesh object of these vertices and faces, linked to the scene and painted in its own color."""
    mesh = bpy.data.meshes.new(name)
    mesh.from_pydata([tuple(v) for v in verts], [], faces)
    mesh.update()
    thing = bpy.data.objects.new(name, mesh)
    scene.collection.objects.link(thing)
    paint = bpy.data.materials.new(name)
    paint.diffuse_color = COLORS[name]
    mesh.materials.append(paint)
    return thing
