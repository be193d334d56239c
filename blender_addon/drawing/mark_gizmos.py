# SPDX-License-Identifier: GPL-3.0-or-later
"""Marks of notes under the mouse: one gizmo an editor that is hit where a mark is, so that a click on a mark goes to
its note and any other click is the editor's own."""

from typing import Any

import bpy

from . import strips

#: Pixels around a mark that count as on it.
_SLACK = 2.0


# comments, since Blender shows docstrings of its classes to people
# All marks of one region. It draws nothing: strips does.
class PLUMBLINE_GT_marks(bpy.types.Gizmo):
    bl_idname = "PLUMBLINE_GT_marks"

    def draw(self, context: Any) -> None:
        pass

    def test_select(self, context: Any, location: Any) -> int:
        shown = strips.picture(context)
        unit = context.preferences.system.ui_scale or 1.0
        place = -1 if shown is None else shown[1].hit(location[0], location[1], _SLACK * unit)
        if strips.hover(place, None if shown is None or place < 0 else shown[0].notes[place]):
            context.region.tag_redraw()
        return 0 if place >= 0 else -1

    def invoke(self, context: Any, event: Any) -> Any:
        return {"FINISHED"}


class _Marks:
    bl_label = "Marks of Notes"
    bl_region_type: Any = "WINDOW"
    bl_options: Any = {"PERSISTENT", "SCALE"}

    gizmos: Any

    poll = classmethod(lambda cls, context: strips.any_marks(context))  # no button, so it owes nobody a reason

    def setup(self, context: Any) -> None:
        gizmo = self.gizmos.new(PLUMBLINE_GT_marks.bl_idname)
        gizmo.target_set_operator("plumbline.pick_mark")
        gizmo.use_tooltip = True
        gizmo.use_draw_modal = False


class PLUMBLINE_GGT_marks_dope_sheet(_Marks, bpy.types.GizmoGroup):
    bl_idname = "PLUMBLINE_GGT_marks_dope_sheet"
    bl_space_type = "DOPESHEET_EDITOR"


class PLUMBLINE_GGT_marks_graph(_Marks, bpy.types.GizmoGroup):
    bl_idname = "PLUMBLINE_GGT_marks_graph"
    bl_space_type = "GRAPH_EDITOR"


class PLUMBLINE_GGT_marks_nla(_Marks, bpy.types.GizmoGroup):
    bl_idname = "PLUMBLINE_GGT_marks_nla"
    bl_space_type = "NLA_EDITOR"
