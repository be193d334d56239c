# SPDX-License-Identifier: GPL-3.0-or-later
"""Showing and hiding notes of one severity or lane. Plain buttons: as blue toggles they would outshout the notes."""

from typing import Any

import bpy

from .. import settings
from ..translation import tip_


class PLUMBLINE_OT_show_severity(bpy.types.Operator):
    """Show or hide the notes of this severity"""

    bl_idname = "plumbline.show_severity"
    bl_label = "Show Severity"
    bl_options = {"INTERNAL"}

    severity: bpy.props.EnumProperty(  # type: ignore[valid-type]
        name="Severity", description="Whose notes come or go", items=settings.SEVERITIES
    )

    def execute(self, context: Any) -> Any:
        here = settings.state(context)
        name = f"show_{self.severity}"
        setattr(here, name, not getattr(here, name))
        return {"FINISHED"}


class PLUMBLINE_OT_show_lane(bpy.types.Operator):
    """Show or hide the notes of this lane"""

    bl_idname = "plumbline.show_lane"
    bl_label = "Show Lane"
    bl_options = {"INTERNAL"}

    lane: bpy.props.StringProperty(name="Lane", description="Whose notes come or go")  # type: ignore[valid-type]

    @classmethod
    def description(cls, context: Any, properties: Any) -> str:
        return tip_("{:s}: show or hide the notes of this lane").format(properties.lane)

    def execute(self, context: Any) -> Any:
        here = settings.state(context)
        hidden = set(here.hidden_lanes.split()) ^ {self.lane}
        here.hidden_lanes = " ".join(sorted(hidden))
        return {"FINISHED"}
