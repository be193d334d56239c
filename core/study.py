# SPDX-License-Identifier: GPL-3.0-or-later
"""Measures, each computed once for a shot and shared by every check that asks."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from .need import NOTHING, Need

if TYPE_CHECKING:
    from .shot import Character, Shot


@dataclass(frozen=True, eq=False)
class Measure:
    """A pure function of a study and a character, with what it reads itself and the measures that it stands on."""

    function: Callable[["Study", Any], Any]
    own_needs: Need
    uses: tuple["Measure", ...]
    name: str

    def needs(self) -> Need:
        total = self.own_needs
        for other in self.uses:
            total |= other.needs()
        return total


def measure(own_needs: Need = NOTHING, uses: tuple[Measure, ...] = ()) -> Callable[[Callable[..., Any]], Measure]:
    """Marks a function ``f(study, character)`` as a measure; for a measure of the whole shot character is None."""

    def wrap(function: Callable[..., Any]) -> Measure:
        return Measure(function, own_needs, uses, function.__name__)

    return wrap


class Study:
    """A shot under study: hands out measures and remembers them."""

    def __init__(self, shot: "Shot") -> None:
        self.shot = shot
        self._known: dict[tuple[Measure, int], Any] = {}

    def of(self, wanted: Measure, character: "Character | None" = None) -> Any:
        """The measure's value for this character (None: for the whole shot), computed at most once."""
        key = (wanted, id(character))
        if key not in self._known:
            self._known[key] = wanted.function(self, character)
        return self._known[key]
