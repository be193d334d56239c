# SPDX-License-Identifier: GPL-3.0-or-later
"""Asks Blender to draw our panels again, where something changed that it does not know of."""

import bpy


def panels() -> None:
    """The sidebars of all 3D views; safe in handlers and in background."""
    manager = bpy.context.window_manager
    for window in manager.windows if manager is not None else ():
        for area in window.screen.areas:
            if area.type == "VIEW_3D":
                for region in area.regions:
                    if region.type == "UI":
                        region.tag_redraw()
