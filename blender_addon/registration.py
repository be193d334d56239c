# SPDX-License-Identifier: GPL-3.0-or-later
"""The one list of all that is registered with Blender. What goes in comes out again, in reverse, by construction."""

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager

import bpy

from . import cli, preferences, settings
from .drawing import mark_gizmos
from .drawing.chart_strip import chart_strip
from .drawing.chips import chip_icons
from .drawing.ghosts import ghosts
from .drawing.strips import strips
from .handlers import all_handlers
from .markers import tag_property
from .operators import (
    card,
    card_files,
    card_limits,
    card_map,
    card_stretch,
    check_shot,
    ease_span,
    land_frame,
    let_drift,
    let_follow,
    let_give,
    markers,
    marking,
    offset_block,
    pick_mark,
    pin_part,
    save_notes,
    select_keys,
    set_aside,
    settle_stop,
    shift_hips,
    show_notes,
    smooth_wiggle,
    soften_snap,
    step_notes,
)
from .panels import card as card_panel
from .panels import menus, not_checked, note_list, sidebar, timing_chart

#: Every class of the interface, in the order in which Blender must know them.
CLASSES: tuple[type, ...] = (
    preferences.PLUMBLINE_AP_preferences,
    settings.PLUMBLINE_PG_row,
    settings.PLUMBLINE_PG_state,
    check_shot.PLUMBLINE_OT_check_shot,
    step_notes.PLUMBLINE_OT_go_to_note,
    step_notes.PLUMBLINE_OT_next_note,
    step_notes.PLUMBLINE_OT_previous_note,
    pick_mark.PLUMBLINE_OT_pick_mark,
    markers.PLUMBLINE_OT_add_markers,
    markers.PLUMBLINE_OT_remove_markers,
    marking.PLUMBLINE_OT_mark_prop,
    marking.PLUMBLINE_OT_mark_ground,
    marking.PLUMBLINE_OT_set_weight,
    card.PLUMBLINE_OT_store_card,
    card.PLUMBLINE_OT_set_height,
    card.PLUMBLINE_OT_set_preset,
    card_limits.PLUMBLINE_OT_set_limit,
    card_limits.PLUMBLINE_OT_limit_from_pose,
    card_limits.PLUMBLINE_OT_clear_limit,
    card_map.PLUMBLINE_OT_choose_bone,
    card_map.PLUMBLINE_OT_take_active_bone,
    card_map.PLUMBLINE_OT_leave_out_part,
    card_map.PLUMBLINE_OT_find_bone,
    card_stretch.PLUMBLINE_OT_set_stretch,
    card_files.PLUMBLINE_OT_save_card,
    card_files.PLUMBLINE_OT_load_card,
    save_notes.PLUMBLINE_OT_save_notes,
    show_notes.PLUMBLINE_OT_show_severity,
    show_notes.PLUMBLINE_OT_show_lane,
    set_aside.PLUMBLINE_OT_set_aside,
    set_aside.PLUMBLINE_OT_bring_back,
    select_keys.PLUMBLINE_OT_select_keys,
    ease_span.PLUMBLINE_OT_ease_span,
    pin_part.PLUMBLINE_OT_pin_part,
    settle_stop.PLUMBLINE_OT_settle_stop,
    offset_block.PLUMBLINE_OT_offset_block,
    land_frame.PLUMBLINE_OT_land_frame,
    smooth_wiggle.PLUMBLINE_OT_smooth_wiggle,
    let_drift.PLUMBLINE_OT_let_drift,
    let_follow.PLUMBLINE_OT_let_follow,
    let_give.PLUMBLINE_OT_let_give,
    soften_snap.PLUMBLINE_OT_soften_snap,
    shift_hips.PLUMBLINE_OT_shift_hips,
    note_list.PLUMBLINE_UL_notes,
    sidebar.PLUMBLINE_PT_sidebar,
    not_checked.PLUMBLINE_PT_not_checked,
    card_panel.PLUMBLINE_PT_card,
    card_panel.PLUMBLINE_PT_body_map,
    card_panel.PLUMBLINE_PT_joint_limits,
    card_panel.PLUMBLINE_PT_stretch,
    card_panel.PLUMBLINE_PT_weights,
    sidebar.PLUMBLINE_PT_timeline_markers,
    timing_chart.PLUMBLINE_PT_timing_chart,
    menus.PLUMBLINE_MT_notes,
    mark_gizmos.PLUMBLINE_GT_marks,
    mark_gizmos.PLUMBLINE_GGT_marks_dope_sheet,
    mark_gizmos.PLUMBLINE_GGT_marks_graph,
    mark_gizmos.PLUMBLINE_GGT_marks_nla,
)

_registered = ExitStack()


@contextmanager
def registered_class(cls: type) -> Iterator[None]:
    """The class is known to Blender inside the block."""
    bpy.utils.register_class(cls)
    try:
        yield
    finally:
        bpy.utils.unregister_class(cls)


@contextmanager
def command_line(word: str) -> Iterator[None]:
    """``blender --command WORD`` runs our command line inside the block."""
    handle = bpy.utils.register_cli_command(word, cli.command)  # type: ignore[func-returns-value]
    try:
        yield
    finally:
        bpy.utils.unregister_cli_command(handle)


def register() -> None:
    """Registers everything, or, where one part fails, nothing."""
    with ExitStack() as stack:
        for cls in CLASSES:
            stack.enter_context(registered_class(cls))
        stack.enter_context(settings.window_manager_state())
        stack.enter_context(tag_property())
        stack.enter_context(chip_icons())
        stack.enter_context(strips())
        stack.enter_context(chart_strip())
        stack.enter_context(ghosts())
        stack.enter_context(all_handlers())
        stack.enter_context(menus.menu_entries())
        stack.enter_context(command_line("plumbline"))
        _registered.enter_context(stack.pop_all())


def unregister() -> None:
    _registered.close()
