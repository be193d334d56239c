# SPDX-License-Identifier: GPL-3.0-or-later
"""What a person sets once for every file: what is drawn, and where."""

from typing import Any

import bpy

PACKAGE = __package__.rpartition(".")[0]


class PLUMBLINE_AP_preferences(bpy.types.AddonPreferences):
    bl_idname = PACKAGE

    show_marks: bpy.props.BoolProperty(  # type: ignore[valid-type]
        name="Marks in Time Editors",
        description="Show notes as marks in the timeline, dope sheet, graph editor and nonlinear animation editor",
        default=True,
    )
    show_evidence: bpy.props.BoolProperty(  # type: ignore[valid-type]
        name="Evidence in 3D View",
        description="Draw what was measured for the selected note, and its limit, in the 3D viewport",
        default=True,
    )
    show_others: bpy.props.BoolProperty(  # type: ignore[valid-type]
        name="Pins of Other Notes",
        description="Show a pin at each other note whose frames hold the current one",
        default=True,
    )

    card_folder: bpy.props.StringProperty(  # type: ignore[valid-type]
        name="Studio Cards",
        description="Folder of cards, one JSON file a character, that hold where its armature carries none",
        subtype="DIR_PATH",
    )

    def draw(self, context: Any) -> None:
        layout: Any = self.layout
        layout.use_property_split = True
        column = layout.column(heading="Show")
        for name in _NAMES:
            column.prop(self, name)
        layout.prop(self, "card_folder")


_NAMES = ("show_marks", "show_evidence", "show_others")


class _Defaults:
    """What holds where Blender knows us as no add-on: the package of a test."""

    show_marks = show_evidence = show_others = True
    card_folder = ""


def of(context: Any) -> Any:
    """Our preferences."""
    addon = context.preferences.addons.get(PACKAGE)
    return addon.preferences if addon is not None and addon.preferences is not None else _Defaults
