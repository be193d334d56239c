# SPDX-License-Identifier: GPL-3.0-or-later
"""The list of notes."""

from typing import Any

import bpy

from .. import session, settings
from ..drawing import chips


# Chip, worst frame, part, amount, state; the severest first, then in time.
class PLUMBLINE_UL_notes(bpy.types.UIList):
    def draw_item(  # type: ignore[override]
        self,
        context: Any,
        layout: Any,
        data: Any,
        item: Any,
        icon: int,
        active_data: Any,
        active_property: str,
        index: int = 0,
        flt_flag: int = 0,
    ) -> None:
        row = layout.row(align=True)
        row.active = not session.edited(context.scene)
        row.label(text="", icon_value=chips.icon(item.lane, item.severity))
        frame = row.row()
        frame.ui_units_x = 1.9
        frame.alignment = "RIGHT"
        frame.label(text=str(item.frame), translate=False)
        row.separator(factor=0.6)
        row.label(text=item.place, translate=False)
        amount = row.row()
        amount.ui_units_x = 3.0
        amount.alignment = "RIGHT"
        amount.label(text=item.amount, translate=False)
        state = row.row()
        state.ui_units_x = 0.9
        state.label(text="", icon="EXPERIMENTAL" if item.trial else "BLANK1")

    def filter_items(self, context: Any, data: Any, property: str) -> Any:
        rows = getattr(data, property)
        uid = str(context.scene.session_uid)
        word = self.filter_name.casefold()
        flags = [
            self.bitflag_filter_item
            if row.scene == uid and getattr(data, f"show_{row.severity}") and word in row.place.casefold()
            else 0
            for row in rows
        ]
        return flags, []


def draw_list(layout: Any, context: Any, checked: session.Checked) -> None:
    """Counts by severity, each a button that shows or hides; then the rows."""
    here = settings.state(context)
    counts = layout.row(align=True)
    for severity in ("high", "medium", "low"):
        number = sum(note.severity.value == severity for note in checked.notes)
        shown = getattr(here, f"show_{severity}")
        button = counts.row(align=True)
        button.active = shown
        toggle = button.operator(
            "plumbline.show_severity", text=str(number), translate=False, icon_value=chips.icon("", severity)
        )
        toggle.severity = severity
    layout.template_list("PLUMBLINE_UL_notes", "", here, "rows", here, "index", rows=8, maxrows=12, sort_lock=True)
