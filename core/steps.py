# SPDX-License-Identifier: GPL-3.0-or-later
"""Long work is a generator that yields the part done, 0 to 1, and returns what came of it: how such work is driven."""

from collections.abc import Callable, Generator
from typing import Any, TypeVar

T = TypeVar("T")
Part = Callable[[float], None]


def finished(steps: Generator[Any, None, T], tell: Part | None = None) -> T:
    """Drives work to its end and returns what came of it; tell: called with the part done after each step, where the
    work tells it."""
    came: list[T] = []
    for part in _kept(steps, came):
        if tell is not None:
            tell(part)
    return came[0]


def within(
    steps: Generator[float, None, T], first: float, last: float, tell: Part | None = None
) -> Generator[float, None, T]:
    """The same work as a stretch, from ``first`` to ``last``, of longer work; closing it closes the work. tell: called
    with the work's own part done before each step is passed on."""
    came: list[T] = []
    parts = _kept(steps, came)
    try:
        for part in parts:
            if tell is not None:
                tell(part)
            yield first + (last - first) * part
    finally:
        parts.close()
    return came[0]


def _kept(steps: Generator[Any, None, T], came: list[T]) -> Generator[Any, None, None]:
    """The work's steps; what comes of it is added to a list."""
    came.append((yield from steps))
