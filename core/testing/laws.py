# SPDX-License-Identifier: GPL-3.0-or-later
"""The laws that every check obeys. A check's test file subclasses CheckTest and inherits them as tests.

    class TestSlip(CheckTest):
        check = "slip"
        def clean(self, fps): ...      # shots on which the check is silent
        def planted(self, fps): ...    # Planted cases: a shot with one fault, and what the note must say

``fps`` is the rate at which to build the case; spans and sizes are told in seconds and physical units, so that one case
says the same at every rate.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, fields, is_dataclass
from typing import Any, ClassVar

import numpy as np

from .. import body
from ..catalogue import catalogue
from ..note import Note, Result, Severity
from ..runner import finish
from ..shot import Shot
from . import edit
from .mend import mend

RATES = (24.0, 25.0, 30000 / 1001, 30.0, 60.0)


@dataclass(frozen=True)
class Planted:
    """A shot with one fault. start, end and worst in seconds since the first sample (None: not asked), with their slack
    in seconds (one frame is always allowed); measured with its tolerance, in the check's unit."""

    name: str
    shot: Shot
    part: str
    severity: str
    measured: float
    tolerance: float
    start: float | None = None
    end: float | None = None
    worst: float | None = None
    slack: float = 0.0


@dataclass(frozen=True)
class _Kept:
    """One check's planted cases at 24 frames a second, and the results of those that were asked for, by the shot's
    id."""

    cases: tuple[Planted, ...]
    results: dict[int, Result] = field(default_factory=dict)


#: Of one test class at a time: the laws of one check come one after the other.
_kept: dict[type["CheckTest"], _Kept] = {}


class CheckTest:
    check: ClassVar[str]
    rates: ClassVar[tuple[float, ...]] = RATES
    #: Why this check's remedy cannot be applied to sampled arrays; '' where it can, and then the remedy law runs.
    cannot_mend: ClassVar[str] = ""

    def clean(self, fps: float) -> Iterable[Shot]:
        raise NotImplementedError

    def planted(self, fps: float) -> Iterable[Planted]:
        raise NotImplementedError

    # ---- the laws ------------------------------------------------------------------------------------------

    def test_silent_on_clean_motion(self) -> None:
        seen = 0
        for fps in self.rates:
            for shot in self.clean(fps):
                seen += 1
                notes = self.notes(shot)
                assert not notes, f"{shot.name} at {fps:.2f} fps: {[n.text for n in notes]}"
        assert seen, "no clean shot was given"

    def test_speaks_once_with_the_right_span_and_size(self) -> None:
        for fps, case in self.cases():
            self.judge(case, self.the_note(case, fps), fps)

    def test_same_anywhere_and_in_any_heading(self) -> None:
        c, s = np.cos(2.1), np.sin(2.1)
        rotation = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]])
        for case in self.at_24():
            note = self.the_note(case, 24.0)
            moved = self.notes(edit.rigid(case.shot, rotation, np.array([40.0, -25.0, 0.0])))
            assert [self.gist(n) for n in moved] == [self.gist(note)], case.name

    def test_mirrored_motion_swaps_sides(self) -> None:
        for case in self.at_24():
            note = self.the_note(case, 24.0)
            flipped = self.notes(edit.mirrored(case.shot))
            gist = list(self.gist(note))
            gist[0] = body.mirror(note.part) if note.part in body.PARTS else note.part
            assert [self.gist(n) for n in flipped] == [tuple(gist)], case.name

    def test_declared_needs_suffice(self) -> None:
        for case in self.at_24():
            note = self.the_note(case, 24.0)
            bare = self.notes(case.shot.only(catalogue()[self.check].needs()))
            assert [self.gist(n) for n in bare] == [self.gist(note)], (
                f"{case.name}: reads something that it does not declare"
            )

    def test_evidence_is_finite_and_inside_the_note(self) -> None:
        for case in self.at_24():
            note = self.the_note(case, 24.0)
            assert note.start <= note.worst <= note.end, case.name
            assert note.evidence, case.name
            for shape in note.evidence:
                numbers = list(_numbers(shape))
                assert numbers and np.isfinite(numbers).all(), (
                    f"{case.name}: {type(shape).__name__} has numbers that are not finite"
                )
                assert shape.role in ("found", "held_against")
                assert note.start <= shape.frames[1] and shape.frames[0] <= note.end

    def test_the_limit_told_is_the_step_that_was_passed(self) -> None:
        steps: dict[tuple[Any, ...], set[float]] = {}
        for case in self.at_24():
            note = self.the_note(case, 24.0)
            # of these the smaller number is the worse
            sign = -1.0 if note.unit == "px" or note.kind in ("flat", "floats") else 1.0
            assert sign * note.measured >= sign * note.limit, (
                f"{case.name}: {note.measured:.4g} against {note.limit:.4g} {note.unit}"
            )
            scale = case.shot.characters[0].leg_length if note.unit in ("m", "m/s") else 1.0
            steps.setdefault((note.part, note.kind, note.severity.rank), set()).add(sign * round(note.limit / scale, 6))
        for (part, kind, rank), limits in steps.items():
            harder = [v for (p, k, r), some in steps.items() if (p, k) == (part, kind) and r > rank for v in some]
            assert all(v >= w for v in harder for w in limits), (part, kind, limits, harder)

    def test_text_says_number_and_frame(self) -> None:
        for case in self.at_24():
            note = self.the_note(case, 24.0)
            assert any(ch.isdigit() for ch in note.text) and not note.text.rstrip().endswith("."), note.text
            side = body.side(note.part)
            if side and len(note.parts) == 1:
                assert ("left" if side == "L" else "right") in note.text.lower(), note.text

    def test_the_remedy_silences_the_note(self) -> None:
        if self.cannot_mend:
            assert len(self.cannot_mend.split()) > 5, "say why the remedy cannot be applied to samples"
            return
        from ..catalogue import chosen

        for case in self.at_24():
            note = self.the_note(case, 24.0)
            assert note.remedy is not None, case.name
            mended = finish(mend(case.shot, note.remedy, note.character), chosen(None))
            assert not mended.failed, mended.failed
            left = [n for n in mended.notes if n.check == self.check and n.part == note.part]
            assert not left, f"{case.name}: after the remedy: {[n.text for n in left]}"
            new = [n for n in mended.notes if n.severity.rank >= 1]
            if new:  # not those that were there before
                before = {(n.check, n.part) for n in finish(case.shot, chosen(None)).notes if n.severity.rank >= 1}
                new = [n for n in new if (n.check, n.part) not in before]
            assert not new, f"{case.name}: the remedy raised {[n.text for n in new]}"

    # ---- tools ---------------------------------------------------------------------------------------------

    def cases(self) -> Iterator[tuple[float, Planted]]:
        seen = 0
        for fps in self.rates:
            for case in self.at_24() if fps == 24.0 else self.planted(fps):
                seen += 1
                yield fps, case
        assert seen, "no planted case was given"

    def at_24(self) -> tuple[Planted, ...]:
        """The planted cases at 24 frames a second, built once for all laws: shots are read-only."""
        return self._kept().cases

    def _kept(self) -> _Kept:
        if type(self) not in _kept:
            cases = tuple(self.planted(24.0))
            _kept.clear()
            _kept[type(self)] = _Kept(cases)
        return _kept[type(self)]

    def result(self, shot: Shot) -> Result:
        kept = self._kept()
        if id(shot) in kept.results:
            return kept.results[id(shot)]
        result = finish(shot, [catalogue()[self.check]])
        assert not result.failed, result.failed[0].trace
        if any(shot is case.shot for case in kept.cases):
            kept.results[id(shot)] = result
        return result

    def notes(self, shot: Shot) -> list[Note]:
        return list(self.result(shot).notes)

    def the_note(self, case: Planted, fps: float) -> Note:
        result = self.result(case.shot)
        assert len(result.notes) == 1, (
            f"{case.name} at {fps:.2f} fps: expected one note, got "
            f"{[(n.part, n.text) for n in result.notes]}, skipped {result.skipped}"
        )
        return result.notes[0]

    def judge(self, case: Planted, note: Note, fps: float) -> None:
        shot = case.shot
        where = f"{case.name} at {fps:.2f} fps: {note.text}"
        assert note.part == case.part, where
        assert note.severity == Severity(case.severity), f"{where}: {note.severity}, expected {case.severity}"
        assert abs(note.measured - case.measured) <= case.tolerance, (
            f"{where}: {note.measured:.4g}, expected {case.measured:.4g}"
        )
        slack = case.slack * shot.fps + 1.0 + 1e-6
        for name in ("start", "end", "worst"):
            told = getattr(case, name)
            if told is not None:
                expected = shot.frames[0] + told * shot.fps
                found = getattr(note, name)
                assert abs(found - expected) <= slack, f"{where}: {name} {found}, expected {expected:.1f}"

    def gist(self, note: Note) -> tuple[Any, ...]:
        return (note.part, note.severity.value, note.start, note.end, round(note.measured, 4), note.kind)


def _numbers(thing: Any) -> Iterator[float]:
    if isinstance(thing, bool | str):
        return
    if isinstance(thing, int | float | np.number):
        yield float(thing)
    elif isinstance(thing, tuple | list):
        for item in thing:
            yield from _numbers(item)
    elif is_dataclass(thing):
        for field in fields(thing):
            yield from _numbers(getattr(thing, field.name))
