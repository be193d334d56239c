# SPDX-License-Identifier: GPL-3.0-or-later
"""The base of every check: one rule of the catalogue, in one file of ``checks``, named as the file."""

from collections.abc import Iterator, Sequence
from typing import Any, ClassVar

from .need import NOTHING, Need
from .note import KeyReference, Limit, Note, Severity, Skip
from .presets import factor
from .remedy import Remedy
from .shot import Character
from .study import Measure, Study

#: Lane -> its letter.
LANES = {
    "Limbs": "L",
    "Contacts": "C",
    "Balance": "B",
    "Spacing": "S",
    "Arcs": "A",
    "Staging": "T",
    "Props": "P",
    "Hits": "H",
}

#: The headings of a check's docstring, in this order: the docs page is made from it.
HEADINGS = ("Seen as", "Measures", "Limit", "Silent when", "Cannot see", "Remedy")


class Check:
    """Subclass it once in a module of ``checks``.

    lane: a key of LANES. uses: the measures that ``run`` asks for. own_needs: what it reads itself.
    groups: groups of parts that it judges one by one; a group with a missing part is skipped and said.
    metric: it speaks in meters or seconds, so it is skipped on a figure of unknown size.
    per_shot: run once for the shot with character None instead of once a character.
    trial: shown, but never decides the exit code.
    """

    lane: ClassVar[str]
    uses: ClassVar[tuple[Measure, ...]] = ()
    own_needs: ClassVar[Need] = NOTHING
    groups: ClassVar[tuple[tuple[str, ...], ...]] = ()
    limit: ClassVar[Limit]
    metric: ClassVar[bool] = False
    per_shot: ClassVar[bool] = False
    trial: ClassVar[bool] = False

    @property
    def name(self) -> str:
        return type(self).__module__.rpartition(".")[2].replace("_", "-")

    def needs(self) -> Need:
        total = self.own_needs
        for wanted in self.uses:
            total |= wanted.needs()
        return total

    def groups_on(self, character: Character) -> tuple[tuple[str, ...], ...]:
        """The groups whose parts are all in the character's body map."""
        return tuple(group for group in self.groups if character.has(*group))

    def moved(self, character: Character | None) -> float:
        """By what the preset on the character's card moves this check's limits, 1 where it does not."""
        return factor(character.card.preset, self.name) if character is not None else 1.0

    def limit_on(self, character: Character | None) -> Limit:
        """The check's limit with the preset on the character's card."""
        return self.limit.scaled(self.moved(character))

    def unjudged(self, study: Study, character: Character) -> str:
        """Why this character is not judged at all, '' where it is: it is then skipped with that sentence."""
        return ""

    def run(self, study: Study, character: Character | None) -> Iterator[Note | Skip]:
        """Yields the notes on this character (for a per-shot check: on the shot), and what it could not judge."""
        raise NotImplementedError

    def skip(self, character: Character | None, why: str) -> Skip:
        return Skip(self.name, character.name if character else "", why)

    def note(
        self,
        study: Study,
        character: Character | None,
        part: str,
        span: tuple[int, int],
        worst: int,
        *,
        severity: Severity,
        measured: float,
        limit: float | None = None,
        text: str,
        remedy: Remedy | None,
        evidence: Sequence[Any],
        unit: str | None = None,
        source: str | None = None,
        keys: Sequence[KeyReference] = (),
        kind: str = "",
        parts: Sequence[str] = (),
        trial: bool | None = None,
        ratio: bool = False,
    ) -> Note:
        """A note from sample indices: ``span`` first and last, ``worst`` inside it. ``limit`` is told as the preset of
        the character's card moved it; ``ratio``: as a power, since it is right at 1."""
        shot = study.shot
        passed = float(self.limit_on(character).step(severity) if limit is None else limit)
        unit, source = self.limit.unit if unit is None else unit, self.limit.source if source is None else source
        moved = self.moved(character)
        if character is not None and moved != 1.0:
            plain = passed ** (1 / moved) if ratio else passed / moved
            text += (f"; the limit of {_said(passed, unit)} is that of the preset {character.card.preset}, "
                     f"{_said(plain, unit)} without it")
            source += f"; moved by the preset {character.card.preset}, of our own making"
        start, end = shot.frame(span[0]), shot.frame(span[1])
        return Note(
            check=self.name,
            lane=self.lane,
            character=character.name if character else "",
            part=part,
            start=start,
            end=end,
            worst=min(max(shot.frame(worst), start), end),
            severity=severity,
            measured=float(measured),
            limit=passed,
            unit=unit,
            source=source,
            text=text,
            remedy=remedy,
            evidence=tuple(evidence),
            keys=tuple(keys),
            trial=self.trial if trial is None else trial,
            kind=kind,
            parts=tuple(parts) or (part,),
        )


def _said(value: float, unit: str) -> str:
    """A limit as people read it."""
    if unit == "m":
        return f"{100 * value:.1f} cm"
    return f"{value:.2f} {unit}" if unit in ("g", "s") else f"{value:.3g} {'degrees' if unit == 'deg' else unit}"
