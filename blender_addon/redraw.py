# SPDX-License-Identifier: GPL-3.0-or-later
"""Asks Blender to draw our parts again, where something changed that it does not know of."""

import bpy


def panels() -> None:
    """The sidebars of all 3D views; safe in handlers and in background."""
    _tag("UI")


def views() -> None:
    """All 3D views; safe in handlers and in background."""
    _tag("WINDOW")


def sheets() -> None:
    """All Dope Sheets; safe in handlers and in background."""
    _tag("WINDOW", "DOPESHEET_EDITOR")


def _tag(kind: str, editor: str = "VIEW_3D") -> None:
    manager = bpy.context.window_manager
    for window in manager.windows if manager is not None else ():
        for area in window.screen.areas:
            if area.type == editor:
                for region in area.regions:
                    if region.type == kind:
                        region.tag_redraw()
