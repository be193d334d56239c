# SPDX-License-Identifier: GPL-3.0-or-later
"""A short random walk of a person's steps; ``python -m tests.blender.soak`` walks the long one."""

from .soak import walk


def test_random_steps_break_nothing_and_touch_no_key_unasked():
    counts, _ = walk(120, seed=7)
    assert sum(counts.values()) == 120 and {"check", "undo", "load", "edit"} <= set(counts)
