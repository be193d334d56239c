# SPDX-License-Identifier: GPL-3.0-or-later
"""Showing and hiding notes of one severity. A plain button: as blue toggles they would outshout the notes."""

from typing import Any

import bpy

from .. import settings


class PLUMBLINE_OT_show_severity(bpy.types.Operator):
    """Show or hide the notes of this severity"""

    bl_idname = "plumbline.show_severity"
    bl_label = "Show Severity"
    bl_options = {"INTERNAL"}

    severity: bpy.props.EnumProperty(name="Severity", items=settings.SEVERITIES)  # type: ignore[valid-type]

    def execute(self, context: Any) -> Any:
        here = settings.state(context)
        name = f"show_{self.severity}"
        setattr(here, name, not getattr(here, name))
        return {"FINISHED"}
