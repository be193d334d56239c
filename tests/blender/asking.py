# SPDX-License-Identifier: GPL-3.0-or-later
"""The shot of the open scene checked as the button does it, and what came of it."""

import bpy
from plumbline.blender_addon import handlers, session
from plumbline.core.note import Note


def check() -> session.Checked:
    """Checks the shot of the open scene."""
    bpy.context.view_layer.update()
    bpy.ops.plumbline.check_shot()
    return checked()


def checked() -> session.Checked:
    """What the last check of the open scene found."""
    found = session.of(bpy.context.scene)
    assert found is not None
    return found


def undo(redo: bool = False) -> None:
    """Undo, or redo, and what a timer does after it: in background none ticks."""
    bpy.ops.ed.redo() if redo else bpy.ops.ed.undo()
    bpy.context.view_layer.update()
    handlers.tidy()
    bpy.context.view_layer.update()


def knee_notes() -> list[Note]:
    """The notes of the left knee, which the figure of tests bends the wrong way."""
    return [n for n in checked().notes if n.check == "joint-limit" and n.part == "shin.L"]


def knee() -> Note:
    """The severest of them."""
    return knee_notes()[0]
