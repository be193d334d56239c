# SPDX-License-Identifier: GPL-3.0-or-later
"""Long work is a generator that yields the part done, 0 to 1, and returns what came of it: how such work is driven."""

from collections.abc import Callable, Generator
from typing import TypeVar

T = TypeVar("T")
Part = Callable[[float], None]


def finished(steps: Generator[float, None, T], tell: Part | None = None) -> T:
    """Drives work to its end and returns what came of it; tell: called with the part done after each step."""
    while True:
        try:
            part = next(steps)
        except StopIteration as end:
            value: T = end.value
            return value
        if tell is not None:
            tell(part)


def within(
    steps: Generator[float, None, T], first: float, last: float, tell: Part | None = None
) -> Generator[float, None, T]:
    """The same work as a stretch, from ``first`` to ``last``, of longer work; closing it closes the work. tell: called
    with the work's own part done before each step is passed on."""
    try:
        while True:
            try:
                part = next(steps)
            except StopIteration as end:
                value: T = end.value
                return value
            if tell is not None:
                tell(part)
            yield first + (last - first) * part
    finally:
        steps.close()
