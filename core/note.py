# SPDX-License-Identifier: GPL-3.0-or-later
"""A note: one finding, measured against a limit with a source."""

from dataclasses import dataclass, field
from enum import StrEnum

from .evidence import Evidence
from .remedy import Remedy

COMMON_PRACTICE = "common practice, no source"


class Severity(StrEnum):
    LOW = "low"
    MEDIUM = "medium"
    HIGH = "high"

    @property
    def rank(self) -> int:
        return ("low", "medium", "high").index(self.value)


@dataclass(frozen=True, slots=True)
class Limit:
    """The three severity steps of a measure, with its unit and where they come from.

    A measure is at a step when it is beyond it: above where low <= high, below where low > high.
    """

    low: float
    medium: float
    high: float
    unit: str
    source: str

    def severity(self, measured: float) -> Severity | None:
        """The severest step that ``measured`` passes, or None."""
        rising = self.low <= self.high
        for severity in (Severity.HIGH, Severity.MEDIUM, Severity.LOW):
            step = self.step(severity)
            if measured >= step if rising else measured <= step:
                return severity
        return None

    def step(self, severity: Severity) -> float:
        return {Severity.LOW: self.low, Severity.MEDIUM: self.medium, Severity.HIGH: self.high}[severity]

    def raised(self, power: float) -> "Limit":
        """Of ratios, which are right at 1: each step to a power, so that more than 1 moves all of them away from it."""
        return Limit(self.low**power, self.medium**power, self.high**power, self.unit, self.source)

    def scaled(self, factor: float) -> "Limit":
        return Limit(self.low * factor, self.medium * factor, self.high * factor, self.unit, self.source)


@dataclass(frozen=True, slots=True)
class KeyReference:
    """Keys behind a note: which object or bone, which channel, on which scene frames."""

    owner: str
    channel: str
    frames: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Note:
    """One finding. ``start``, ``end`` and ``worst`` are whole scene frames, both ends inside.

    ``kind`` tells precedence which face of a check spoke ('gap', 'flat', 'hyperextension' ...);
    ``parts`` lists all parts that the note is about, ``part`` the one it is filed under.
    """

    check: str
    lane: str
    character: str
    part: str
    start: int
    end: int
    worst: int
    severity: Severity
    measured: float
    limit: float
    unit: str
    source: str
    text: str
    remedy: Remedy | None
    evidence: tuple[Evidence, ...]
    keys: tuple[KeyReference, ...] = ()
    trial: bool = False
    set_aside: str | None = None
    kind: str = ""
    parts: tuple[str, ...] = field(default=())

    @property
    def id(self) -> str:
        return "/".join((self.check, self.character, self.part, str(self.start)))


@dataclass(frozen=True, slots=True)
class Skip:
    """Something that a check could not judge, and why, in one sentence without a final stop."""

    check: str
    character: str
    why: str


@dataclass(frozen=True, slots=True)
class Failure:
    """A check that raised: which, on whom, and the error in one line."""

    check: str
    character: str
    error: str
    trace: str = ""


@dataclass(frozen=True, slots=True)
class Result:
    """All that one run over a shot found."""

    notes: tuple[Note, ...]
    skipped: tuple[Skip, ...]
    failed: tuple[Failure, ...]
