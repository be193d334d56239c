# SPDX-License-Identifier: GPL-3.0-or-later
"""What the person says about objects: a prop, ground, its weight. Kept on the object as plain custom properties."""

from typing import Any

import bpy

from .. import session
from ..sampling.props import GROUND, PROP
from ..sampling.weights import MASS, told_mass
from ..translation import iface_, rpt_
from .refusing import Refusing


def refusal(context: Any) -> str:
    """Why no object can be marked, or ''."""
    return "" if _chosen(context) else rpt_("Select the objects to mark")


class PLUMBLINE_OT_mark_prop(Refusing, bpy.types.Operator):
    """Say whether the selected objects are props that are measured, or leave that to Plumbline"""

    bl_idname = "plumbline.mark_prop"
    bl_label = "Mark Prop"
    bl_options = {"REGISTER", "UNDO"}
    refusal = staticmethod(refusal)

    mark: bpy.props.EnumProperty(
        name="Mark",
        description="What the selected objects count as",
        items=(  # type: ignore[valid-type]
            ("YES", "A Prop", "Measure these objects as props"),
            ("NO", "No Prop", "Never take these objects for props"),
            ("AUTO", "Automatic", "Take these objects for props where they move and are no part of a character"),
        ),
    )

    def execute(self, context: Any) -> Any:
        return _mark(self, context, PROP, self.mark)


class PLUMBLINE_OT_mark_ground(Refusing, bpy.types.Operator):
    """Say whether the selected objects are ground under the feet, or leave that to Plumbline"""

    bl_idname = "plumbline.mark_ground"
    bl_label = "Mark Ground"
    bl_options = {"REGISTER", "UNDO"}
    refusal = staticmethod(refusal)

    mark: bpy.props.EnumProperty(
        name="Mark",
        description="What the selected objects count as",
        items=(  # type: ignore[valid-type]
            ("YES", "Ground", "Take these objects for ground"),
            ("NO", "No Ground", "Never take these objects for ground"),
            ("AUTO", "Automatic", "Take these objects for ground where they are still and under the feet"),
        ),
    )

    def execute(self, context: Any) -> Any:
        return _mark(self, context, GROUND, self.mark)


class PLUMBLINE_OT_set_weight(Refusing, bpy.types.Operator):
    """Say what a thing weighs: whoever carries it is balanced with it; zero takes the weight back"""

    bl_idname = "plumbline.set_weight"
    bl_label = "Set Weight"
    bl_options = {"REGISTER", "UNDO"}
    refusal = staticmethod(lambda context: "")

    thing: bpy.props.StringProperty(  # type: ignore[valid-type]
        name="Object", description="Its name; empty for the active object", options={"SKIP_SAVE", "HIDDEN"}
    )
    kilograms: bpy.props.FloatProperty(  # type: ignore[valid-type]
        name="Kilograms", description="Kilograms; zero for not told", min=0.0, soft_max=100.0, precision=2
    )

    def invoke(self, context: Any, event: Any) -> Any:
        object = _thing(context, self.thing)
        if object is None:
            self.report({"WARNING"}, "There is no such object")
            return {"CANCELLED"}
        self.kilograms = told_mass(object)
        title = iface_("Weight of {:s}").format(object.name)
        return context.window_manager.invoke_props_dialog(self, width=280, title=title, translate=False)

    def execute(self, context: Any) -> Any:
        object = _thing(context, self.thing)
        if object is None:
            self.report({"WARNING"}, "There is no such object")
            return {"CANCELLED"}
        if needs_override(object):
            self.report({"WARNING"}, rpt_("{:s} is linked: make a library override of it first").format(object.name))
            return {"CANCELLED"}
        if self.kilograms > 0:
            object[MASS] = float(f"{self.kilograms:.4g}")
        elif MASS in object:
            del object[MASS]
        session.mark_edited(context.scene.session_uid, object.name)
        return {"FINISHED"}


def _thing(context: Any, name: str) -> Any:
    """The object of this name in the scene, the active one where the name is ''."""
    return context.scene.objects.get(name) if name else context.active_object


def needs_override(object: Any) -> bool:
    """Whether the object is linked, so that nothing can be kept on it."""
    return object.library is not None


def _chosen(context: Any) -> list[Any]:
    chosen = list(context.selected_objects or ())
    return chosen or ([context.active_object] if context.active_object is not None else [])


def _mark(operator: Any, context: Any, name: str, mark: str) -> Any:
    """Sets or clears the mark; linked objects are named and left as they are."""
    chosen = _chosen(context)
    own = [object for object in chosen if not needs_override(object)]
    for object in own:
        if mark == "AUTO":
            if name in object:
                del object[name]
        else:
            object[name] = mark == "YES"
    linked = [object.name for object in chosen if needs_override(object)]
    if linked:
        names = ", ".join(linked)
        operator.report({"WARNING"}, rpt_("{:s} is linked: make a library override of it first").format(names))
    if own:
        session.mark_edited(context.scene.session_uid, own[0].name)
    return {"FINISHED"} if own else {"CANCELLED"}
