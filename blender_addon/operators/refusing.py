# SPDX-License-Identifier: GPL-3.0-or-later
"""A gray button says why."""

from typing import Any, ClassVar


class Refusing:
    """Mixin of operators that cannot always run: ``refusal(context)`` gives the reason, or '' where they can."""

    refusal: ClassVar[Any]

    @classmethod
    def poll(cls: Any, context: Any) -> bool:
        why = cls.refusal(context)
        if why:
            cls.poll_message_set(why)
        return not why
