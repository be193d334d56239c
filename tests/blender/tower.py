# SPDX-License-Identifier: GPL-3.0-or-later
"""A small shot for the command line, saved as a file, and the command run on it in a process of its own."""

import math
import os
import subprocess
import sys

import bpy
from mathutils import Vector
from plumbline.blender_addon import cli
from plumbline.core import body
from plumbline.core.testing.puppet import adult

HOSTILE = 'Kee\x1b[2Jper "\\\u202e\n</x>'


def keeper(name="Keeper", knee=-60.0):
    """An FK figure whose left knee is keyed to bend by ``knee`` degrees at frame 26; below zero is backward."""
    puppet = adult()
    data = bpy.data.armatures.new(name)
    rig = bpy.data.objects.new(name, data)
    bpy.context.scene.collection.objects.link(rig)
    bpy.context.view_layer.objects.active = rig
    bpy.ops.object.mode_set(mode="EDIT")
    for part, head, tail in zip(puppet.parts, puppet.heads, puppet.tails, strict=True):
        bone = data.edit_bones.new(part)
        bone.head, bone.tail = head, tail
    for part in puppet.parts:
        above = body.parent(part)
        if above:
            data.edit_bones[part].parent = data.edit_bones[above]
    bpy.ops.object.mode_set(mode="OBJECT")
    shin = rig.pose.bones["shin.L"]
    shin.rotation_mode = "AXIS_ANGLE"
    axis = shin.bone.matrix_local.to_3x3().inverted() @ Vector((1.0, 0.0, 0.0))
    for frame, degrees in ((1, 5.0), (18, 5.0), (24, knee), (28, knee), (34, 5.0), (48, 5.0)):
        shin.rotation_axis_angle = (math.radians(degrees), *axis)
        shin.keyframe_insert("rotation_axis_angle", frame=frame)
    bpy.context.scene.frame_start, bpy.context.scene.frame_end = 1, 48
    return rig


def saved(path, **more):
    bpy.ops.wm.save_as_mainfile(filepath=str(path), compress=False, **more)
    return path


def plumbline(*words, **more):
    """Runs the command in a process of its own."""
    code = "import sys; from plumbline.blender_addon.cli import main; sys.exit(main(sys.argv[1:]))"
    environment = {**os.environ, "NO_COLOR": "1", "PYTHONIOENCODING": "utf-8", **more.pop("env", {})}
    return subprocess.run(
        [sys.executable, "-c", code, *map(str, words)],
        capture_output=True,
        encoding="utf-8",
        errors="replace",
        timeout=240,
        env=environment,
        **more,
    )


def plumbline_here(capfd, *words):
    """Runs the command as Blender's own ``--command`` does, in this very process: the same answers, and no second
    Blender to start."""
    capfd.readouterr()
    code = cli.command([str(word) for word in words])
    out, err = capfd.readouterr()
    return subprocess.CompletedProcess(words, code, out, err)


def one_line(text):
    """The one line on stderr that says what is wrong, Blender's own lines and progress apart."""
    own = [line for line in text.splitlines() if line.startswith("plumbline: ")]
    assert len(own) == 1, text
    assert "Traceback" not in text
    return own[0]


def child_running(monkeypatch, code):
    """Exchanges what the child process does; ``PART`` and ``WORDS`` stand for its arguments."""
    monkeypatch.setattr(
        cli,
        "child_command",
        lambda part, words: [
            sys.executable,
            "-c",
            f"import os, sys, time; PART, WORDS = {str(part)!r}, {list(words)!r}\n{code}",
        ],
    )


#: A child that does all its work in Blender, but whose check or sweep is exchanged.
REAL = "sys.argv = ['child', PART, *WORDS]\nfrom plumbline.blender_addon import child, review\n{}\nchild.main()"
