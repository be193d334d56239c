# SPDX-License-Identifier: GPL-3.0-or-later
"""Measures, each computed once for a shot and shared by every check that asks."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from .need import NOTHING, Need

if TYPE_CHECKING:
    from .shot import Character, Shot


@dataclass(frozen=True, eq=False)
class Measure:
    """A pure function of a study and a character, with what it reads itself and the measures that it stands on; whole:
    it is one of the shot, not of a character."""

    function: Callable[["Study", Any], Any]
    own_needs: Need
    uses: tuple["Measure", ...]
    name: str
    whole: bool = False

    def needs(self) -> Need:
        total = self.own_needs
        for other in self.uses:
            total |= other.needs()
        return total


def measure(
    own_needs: Need = NOTHING, uses: tuple[Measure, ...] = (), whole: bool = False
) -> Callable[[Callable[..., Any]], Measure]:
    """Marks a function ``f(study, character)`` as a measure; whole: one of the whole shot, whose character is None."""

    def wrap(function: Callable[..., Any]) -> Measure:
        return Measure(function, own_needs, uses, function.__name__, whole)

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

    def getting(self, wanted: Sequence[Measure], character: "Character | None" = None) -> Iterator[None]:
        """Has these measures and what they stand on ready for this character, one in each step, so that none waits for
        the others. One that fails is left to whoever asks for it."""
        for measure in wanted:
            if measure.whole or character is not None:
                yield from self._getting(measure, None if measure.whole else character)

    def _getting(self, measure: Measure, character: "Character | None") -> Iterator[None]:
        if (measure, id(character)) in self._known:
            return
        yield from self.getting(measure.uses, character)
        try:
            self.of(measure, character)
        except Exception:
            return
        yield
