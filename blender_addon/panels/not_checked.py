# SPDX-License-Identifier: GPL-3.0-or-later
"""What was not judged, and why: each reason once, below it whom and what it keeps silent."""

from typing import Any

import bpy

from ...core.report.silences import silences
from .. import session, words
from ..translation import iface_
from .sidebar import _Sidebar
from .wrapped import sentence


class PLUMBLINE_PT_not_checked(_Sidebar, bpy.types.Panel):
    bl_label = "Not Checked"
    bl_parent_id = "PLUMBLINE_PT_sidebar"
    bl_order = 1
    bl_options = {"DEFAULT_CLOSED"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        return not (session.job is not None or not silent(session.of(context.scene)))

    def draw_header_preset(self, context: Any) -> None:
        self.layout.label(text=str(len(silent(session.of(context.scene)))), translate=False)

    def draw(self, context: Any) -> None:
        for failed, why, whom in silent(session.of(context.scene)):
            column = self.layout.column()
            sentence(column, context, why, icon="ERROR" if failed else "INFO", inset=70)
            if whom:
                sentence(column, context, whom, icon="BLANK1", inset=70)


def silent(checked: session.Checked | None) -> list[tuple[bool, str, str]]:
    """(whether a check failed, why, whom and which checks that silences) of all that was not judged."""
    if checked is None or checked.result is None or checked.shot is None:
        return []
    out = []
    for failure in checked.result.failed:
        why = iface_("{:s} failed: {:s}").format(words.check(failure.check), failure.error)
        out.append((True, why, failure.character))
    for silence in silences(checked.shot, checked.result):
        who, checks = ", ".join(silence.characters), ", ".join(c.replace("-", " ") for c in silence.checks)
        whom = ": ".join(w for w in (who, checks) if w)
        out.append((False, words.capital(silence.why), whom if who else words.capital(whom)))
    return out
