# SPDX-License-Identifier: GPL-3.0-or-later
"""Plumbline measures the body mechanics of an animated shot and says where, what, how much and how to mend it."""

__version__ = "0.1.0"


def register() -> None:
    """Called by Blender when the extension is enabled."""
    from .blender_addon import registration

    registration.register()


def unregister() -> None:
    """Called by Blender when the extension is disabled."""
    from .blender_addon import registration

    registration.unregister()
