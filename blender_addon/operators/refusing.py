# SPDX-License-Identifier: GPL-3.0-or-later
"""A gray button says why."""

from collections.abc import Callable
from typing import Any, ClassVar


class Refusing:
    """Mixin of operators that cannot always run: ``refusal(context)`` gives the reason, or '' where they can."""

    refusal: ClassVar[Callable[[Any], str]]
    poll_message_set: ClassVar[Callable[[str], None]]

    @classmethod
    def poll(cls, context: Any) -> bool:
        why = cls.refusal(context)
        if why:
            cls.poll_message_set(why)
        return not why
