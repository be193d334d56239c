# SPDX-License-Identifier: GPL-3.0-or-later
"""The timing chart in the sidebar: the switch of its strip, and what it says of the whole shot."""

from typing import Any

import bpy

from ...core.body import listed
from .. import charting, session, settings
from ..translation import iface_
from .wrapped import sentence


class PLUMBLINE_PT_timing_chart(bpy.types.Panel):
    bl_space_type = "VIEW_3D"
    bl_region_type = "UI"
    bl_category = "Plumbline"
    bl_label = "Timing Chart"
    bl_parent_id = "PLUMBLINE_PT_sidebar"
    bl_order = 2
    bl_options = {"DEFAULT_CLOSED"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        checked = session.of(context.scene)
        return session.job is None and checked is not None and checked.shot is not None

    def draw(self, context: Any) -> None:
        layout: Any = self.layout
        state = settings.state(context)
        layout.prop(state, "show_chart")
        chart = charting.chart_of(context) if state.show_chart else None
        if chart is None:
            return
        layout.label(text=chart.character, icon="ARMATURE_DATA", translate=False)
        for text in said(chart):
            sentence(layout, context, text, inset=40)


def said(chart: Any) -> list[str]:
    """What the chart says of the whole: its still tail, and what was not animated."""
    out = []
    if not chart.ends:
        out.append(iface_("No part moves"))
    elif chart.tail:
        out.append(iface_("Still for {:d} frames after the last move, of the {:s}").format(chart.tail,
                                                                                         listed(chart.ends)))
    else:
        out.append(iface_("No still tail: the shot ends in a move"))
    if chart.still:
        out.append(iface_("Never turns: {:s}").format(listed(chart.still)))
    if chart.dead:
        out.append(iface_("Not animated yet: {:s}, held for most of the shot while the body carries it").format(
            listed(chart.dead)))
    return out
