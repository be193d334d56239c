# SPDX-License-Identifier: GPL-3.0-or-later
"""The list of notes."""

from typing import Any

import bpy

from ...core.check import LANES
from .. import filters, session, settings, words
from ..drawing import chips

#: Pixels of the region at a scale of 1 from which a row has room for the check's name, and for whose part it is.
_WIDE = 400


# Chip, worst frame, part, state, amount; the severest first, then in time. Where several characters are shown, whose
# part it is stands in place of the amount: both have no room, and the box below says how much. A wide sidebar has room
# for both, and for the check.
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
        note = session.active(context.scene, item.number)
        row.active = not (item.aside or note is None)
        row.label(text="", icon_value=chips.icon(item.lane, item.severity))
        frame = row.row()
        frame.ui_units_x = 1.8
        frame.alignment = "RIGHT"
        frame.label(text=str(item.frame), translate=False)
        row.separator(factor=0.8)
        row.label(text=item.brief, translate=False)
        wide = context.region.width > _WIDE * (context.preferences.system.ui_scale or 1.0)
        if wide and note is not None:
            row.label(text=words.check(note.check), translate=False)
        stale = note is not None and session.stale(context.scene, note)
        # not dimmed: on the light theme that leaves too little between words and ground
        state = "HIDE_ON" if item.aside else "FILE_REFRESH" if stale else "EXPERIMENTAL" if item.trial else "BLANK1"
        if wide or state != "BLANK1":  # a wide row keeps the place free, so that columns stay straight
            row.label(text="", icon=state)
        named = item.who and item.who != data.show_character
        if named:
            _at_the_end(row, item.who, 5.0 if wide else 0.0)
        if wide or not named:
            _at_the_end(row, item.amount, 2.6)

    def filter_items(self, context: Any, data: Any, property: str) -> Any:
        rows = getattr(data, property)
        uid, word, here = str(context.scene.session_uid), self.filter_name.casefold(), settings.state(context)
        checked, passing = session.of(context.scene), filters.now(context)
        notes = checked.notes if checked is not None else ()
        flags = [
            self.bitflag_filter_item
            if row.scene == uid
            and row.number < len(notes)
            and passing.passes(notes[row.number])
            and word in f"{row.place} {row.brief} {row.who} {row.tip}".casefold()
            else 0
            for row in rows
        ]
        if not here.by_frame:
            return flags, []
        order = sorted(range(len(rows)), key=lambda i: (rows[i].frame, i))
        places = [0] * len(rows)
        for place, i in enumerate(order):
            places[i] = place
        return flags, places


def _at_the_end(row: Any, text: str, width: float) -> None:
    """A word to the right, in a column of so many units where there are any."""
    column = row.row()
    column.alignment = "RIGHT"
    if width:
        column.ui_units_x = width
    column.label(text=text, translate=False)


def draw_list(layout: Any, context: Any, checked: session.Checked) -> None:
    """Counts by severity and the lanes, each a button that shows or hides; then the rows."""
    here = settings.state(context)
    counts = layout.row(align=True)
    for severity in ("high", "medium", "low"):
        number = sum(note.severity.value == severity for note in checked.notes)
        button = counts.row(align=True)
        button.active = getattr(here, f"show_{severity}")
        toggle = button.operator(
            "plumbline.show_severity", text=str(number), translate=False, icon_value=chips.icon("", severity)
        )
        toggle.severity = severity
    lanes = {note.lane for note in checked.notes}
    row, hidden = layout.row(align=True), here.hidden_lanes.split()
    for lane in (lane for lane in LANES if lane in lanes):
        button = row.row(align=True)
        button.active = lane not in hidden
        toggle = button.operator(
            "plumbline.show_lane", text="", icon_value=chips.icon(lane, "low" if lane in hidden else "medium")
        )
        toggle.lane = lane
    row.separator(factor=0.6)
    row.prop(here, "by_frame", text="", icon="SORTTIME")
    row.prop(here, "selected_only", text="", icon="RESTRICT_SELECT_OFF")
    row.prop(here, "in_range_only", text="", icon="PREVIEW_RANGE")
    if session.several(context.scene):
        layout.prop(here, "show_character", text="", icon="ARMATURE_DATA", placeholder="All Characters")
    rows = min(max(len(checked.notes), 3), 8)  # a few notes leave room for what is below
    layout.template_list("PLUMBLINE_UL_notes", "", here, "rows", here, "index", item_dyntip_propname="tip", rows=rows,
                         maxrows=12)
