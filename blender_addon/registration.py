# SPDX-License-Identifier: GPL-3.0-or-later
"""The one list of all that is registered with Blender. What goes in comes out again, in reverse, by construction."""
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager

import bpy

from . import cli

#: Every class of the interface, in the order in which Blender must know them.
CLASSES: tuple[type, ...] = ()

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
        stack.enter_context(command_line("plumbline"))
        _registered.enter_context(stack.pop_all())


def unregister() -> None:
    _registered.close()
