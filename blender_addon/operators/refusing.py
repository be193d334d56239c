# SPDX-License-Identifier: GPL-3.0-or-later
"""A gray button says why."""

from typing import Any, ClassVar

from .. import session
from ..translation import rpt_


class Refusing:
    """Mixin of operators that cannot always run: ``refusal(context)`` gives the reason, or '' where they can.

    While a check runs none of them can: nothing may push a step of undo then.
    """

    refusal: ClassVar[Any]

    @classmethod
    def poll(cls: Any, context: Any) -> bool:
        why = rpt_("A check is running; Esc stops it") if session.job is not None else cls.refusal(context)
        if why:
            cls.poll_message_set(why)
        return not why
