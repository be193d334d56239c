# SPDX-License-Identifier: GPL-3.0-or-later
"""One menu in the 3D view, the dope sheet, the graph editor and the timeline, where F3 finds its operators too."""

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from typing import Any

import bpy

#: The rows of menus that ours joins. The timeline's own is gone in 5.x, where it shares the dope sheet's.
ROWS = ("VIEW3D_MT_editor_menus", "DOPESHEET_MT_editor_menus", "GRAPH_MT_editor_menus", "TIME_MT_editor_menus")


class PLUMBLINE_MT_notes(bpy.types.Menu):
    bl_label = "Plumbline"

    def draw(self, context: Any) -> None:
        layout: Any = self.layout
        layout.operator_context = "INVOKE_DEFAULT"
        layout.operator("plumbline.check_shot")
        layout.separator()
        layout.operator("plumbline.next_note", icon="TRIA_RIGHT")
        layout.operator("plumbline.previous_note", icon="TRIA_LEFT")
        layout.separator()
        layout.operator("plumbline.add_markers")
        layout.operator("plumbline.remove_markers")
        layout.separator()
        layout.operator_menu_enum("plumbline.mark_prop", "mark")
        layout.operator_menu_enum("plumbline.mark_ground", "mark")
        layout.operator("plumbline.set_weight", text="Weigh Active Object...")
        layout.operator("plumbline.store_card")
        layout.separator()
        layout.operator("plumbline.save_notes")


def draw_menu(self: Any, context: Any) -> None:
    self.layout.menu("PLUMBLINE_MT_notes")


@contextmanager
def menu_entries() -> Iterator[None]:
    """Our menu stands in the editors' rows inside the block."""
    with ExitStack() as stack:
        for name in ROWS:
            row = getattr(bpy.types, name, None)
            if row is not None:
                row.append(draw_menu)
                stack.callback(row.remove, draw_menu)
        yield
