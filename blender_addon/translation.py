# SPDX-License-Identifier: GPL-3.0-or-later
"""Blender's hooks for words that people read, under the names by which its extractor of messages knows them.

The words stand in the call itself, as one literal with places for what is filled in after. Where Blender translates by
itself (labels, descriptions, ``text=``, ``report``) a bare literal is enough. Not translated are the sentences of the
core (notes, remedies, reasons, errors), which are the same in the notes file.
"""

from collections.abc import Callable
from typing import Any

import bpy

_hooks: Any = bpy.app.translations  # the stubs say that they return nothing

#: For panels and other places of the interface.
iface_: Callable[[str], str] = _hooks.pgettext_iface
#: For reports, and why a button is gray.
rpt_: Callable[[str], str] = _hooks.pgettext_rpt
#: For tooltips that are made while they are shown.
tip_: Callable[[str], str] = _hooks.pgettext_tip
#: Marks words that are translated later.
n_: Callable[[str], str] = _hooks.pgettext_n
