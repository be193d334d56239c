# SPDX-License-Identifier: GPL-3.0-or-later
"""Properties of the interface. Rows lie on the window manager, where undo does not reach and nothing is saved."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import bpy
from bpy.props import (
    BoolProperty,
    CollectionProperty,
    EnumProperty,
    IntProperty,
    PointerProperty,
    StringProperty,
)

from ..core.body import PARTS, base, spoken
from ..core.note import Note
from ..core.tables.joint_ranges import RANGES
from . import kept_aside, session, words

#: The extension's own module, as Blender knows it: bl_ext.<repository>.plumbline.
PACKAGE = __package__.rpartition(".")[0]
NAME = "plumbline"
SEVERITIES = (("low", "Low", ""), ("medium", "Medium", ""), ("high", "High", ""))


# comments, since Blender shows docstrings of its classes to people
# One row of the list of notes, ready to be drawn.
class PLUMBLINE_PG_row(bpy.types.PropertyGroup):
    scene: StringProperty()  # type: ignore[valid-type]
    number: IntProperty()  # type: ignore[valid-type]
    frame: IntProperty()  # type: ignore[valid-type]
    place: StringProperty()  # type: ignore[valid-type]
    brief: StringProperty()  # type: ignore[valid-type]
    who: StringProperty()  # type: ignore[valid-type]
    amount: StringProperty()  # type: ignore[valid-type]
    tip: StringProperty()  # type: ignore[valid-type]
    lane: StringProperty()  # type: ignore[valid-type]
    severity: EnumProperty(items=SEVERITIES)  # type: ignore[valid-type]
    trial: BoolProperty()  # type: ignore[valid-type]
    aside: BoolProperty()  # type: ignore[valid-type]


def _clicked(self: Any, context: Any) -> None:
    """A click on a row goes to its worst frame, as one step of undo."""
    if session.filling or session.job is not None or not 0 <= self.index < len(self.rows):
        return
    row = self.rows[self.index]
    if row.scene == str(context.scene.session_uid):
        operators: Any = bpy.ops
        operators.plumbline.go_to_note("EXEC_DEFAULT", True, number=row.number)


def _characters(self: Any, context: Any, typed: str) -> list[str]:
    """The characters of the scene's last check."""
    checked = session.of(context.scene) if context is not None and context.scene is not None else None
    characters = checked.shot.characters if checked is not None and checked.shot is not None else ()
    return [c.name for c in characters]


def _chart_shown(self: Any, context: Any) -> None:
    """The strip comes and goes with its switch."""
    from . import redraw

    redraw.sheets()


def _arcs_shown(self: Any, context: Any) -> None:
    """Arcs follow the pose while they are shown."""
    from . import limit_arcs

    limit_arcs.follow()


# What the panel shows.
class PLUMBLINE_PG_state(bpy.types.PropertyGroup):
    rows: CollectionProperty(type=PLUMBLINE_PG_row)  # type: ignore[valid-type]
    index: IntProperty(name="Note", description="The note that is shown below the list", update=_clicked)  # type: ignore[valid-type]
    show_low: BoolProperty(name="Low", description="Show notes of low severity", default=True)  # type: ignore[valid-type]
    show_medium: BoolProperty(name="Medium", description="Show notes of medium severity", default=True)  # type: ignore[valid-type]
    show_high: BoolProperty(name="High", description="Show notes of high severity", default=True)  # type: ignore[valid-type]
    hidden_lanes: StringProperty()  # type: ignore[valid-type]
    show_character: StringProperty(  # type: ignore[valid-type]
        name="Character", description="Show the notes of this character alone; empty for all", search=_characters
    )
    selected_only: BoolProperty(  # type: ignore[valid-type]
        name="Selected Only",
        description="Show only notes of selected characters, in pose mode of parts whose bones are selected",
    )
    in_range_only: BoolProperty(  # type: ignore[valid-type]
        name="In Range Only", description="Show only notes within the preview range, or the scene's where there is none"
    )
    by_frame: BoolProperty(name="Sort by Frame", description="Sort by frame, not the severest first")  # type: ignore[valid-type]
    check_selected: BoolProperty(  # type: ignore[valid-type]
        name="Selected Characters Only", description="Check only characters whose armature is selected"
    )
    card_of: StringProperty(  # type: ignore[valid-type]
        name="Character", description="The character whose card is shown; empty for the active one", search=_characters
    )
    limit_part: EnumProperty(  # type: ignore[valid-type]
        name="Part",
        description="The part whose joint limits are shown",
        items=[(part, spoken(part).capitalize(), "") for part in PARTS if base(part) in {r.part for r in RANGES}],
        default="shin.L",
        update=_arcs_shown,
    )
    show_chart: BoolProperty(  # type: ignore[valid-type]
        name="Show in Dope Sheet",
        description="Show when each part moves and holds, in the Dope Sheet as far as there is room under its channels",
        default=False,
        update=_chart_shown,
    )
    show_arcs: BoolProperty(  # type: ignore[valid-type]
        name="Show Arcs",
        description="Draw the part's angles in the pose as it stands, and their limits, at the joint",
        default=False,
        update=_arcs_shown,
    )


@contextmanager
def window_manager_state() -> Iterator[None]:
    """The window manager has our state inside the block."""
    pointer: Any = PointerProperty  # the stubs say that it returns nothing
    setattr(bpy.types.WindowManager, NAME, pointer(type=PLUMBLINE_PG_state))
    try:
        yield
    finally:
        delattr(bpy.types.WindowManager, NAME)


def state(context: Any = None) -> Any:
    """Our state on the window manager."""
    return getattr((context or bpy.context).window_manager, NAME)


def fill_rows(scene: Any) -> None:
    """The rows of this scene anew, from its last check; rows of other scenes stay. Call it from operators only."""
    here = state()
    uid = str(scene.session_uid)
    checked = session.of(scene)
    notes = checked.notes if checked else ()
    several = session.several(scene)
    chosen = here.rows[here.index] if 0 <= here.index < len(here.rows) else None
    was = (chosen.lane, chosen.place, chosen.who) if chosen is not None and chosen.scene == uid else None
    frame = chosen.frame if chosen is not None else 0
    session.filling = True
    try:
        for i in reversed([i for i, row in enumerate(here.rows) if row.scene == uid]):
            here.rows.remove(i)
        first = len(here.rows)
        for number, note in enumerate(notes):
            _fill(here.rows.add(), uid, number, note, several)
        # the note that was looked at stays chosen where it is found again
        same = [i for i, row in enumerate(here.rows) if row.scene == uid and (row.lane, row.place, row.who) == was]
        here.index = min(same, key=lambda i: abs(here.rows[i].frame - frame), default=first)
    finally:
        session.filling = False


def _fill(row: Any, uid: str, number: int, note: Note, several: bool) -> None:
    row.scene, row.number, row.frame = uid, number, note.worst
    row.place, row.brief, row.who = words.place(note), words.brief(note), note.character if several else ""
    row.amount, row.lane, row.severity, row.trial = words.amount(note), note.lane, note.severity.value, note.trial
    row.aside = note.set_aside is not None
    row.tip = words.tip(note, several)


def follow_aside(scene: Any) -> None:
    """Result and rows of this scene follow what is kept aside on it now. Call it from operators and timers,
    not from handlers."""
    uid, checked = str(scene.session_uid), session.of(scene)
    if checked is None or checked.result is None:
        return
    result = kept_aside.again(checked.result, scene)
    if result is checked.result:
        return
    checked.result = result
    for row in state().rows:
        if row.scene == uid and row.number < len(checked.notes):
            row.aside = checked.notes[row.number].set_aside is not None


def show_row(number: int, scene: Any) -> None:
    """Makes the row of this note the active one, without counting as a click."""
    here = state()
    uid = str(scene.session_uid)
    session.filling = True
    try:
        here.index = next(
            (i for i, row in enumerate(here.rows) if row.scene == uid and row.number == number), here.index
        )
    finally:
        session.filling = False


def show_limits_of(note: Note) -> None:
    """The card's joint limits are those of the note's part, where it is one that has limits."""
    here = state()
    if note.check == "joint-limit" and note.part in here.bl_rna.properties["limit_part"].enum_items:
        here.limit_part = note.part


def active_number(context: Any) -> int:
    """The number of the active row's note in this scene, or -1."""
    here = state(context)
    if 0 <= here.index < len(here.rows) and here.rows[here.index].scene == str(context.scene.session_uid):
        return int(here.rows[here.index].number)
    return -1
