# SPDX-License-Identifier: GPL-3.0-or-later
"""What was not judged, for people: each reason once, with all whom and what it keeps silent."""

from dataclasses import dataclass

from ..note import Result
from ..shot import Shot


@dataclass(frozen=True, slots=True)
class Silence:
    """One reason, a sentence without a final stop; the characters and the checks, by name, that it holds for, none
    where it is about the shot as a whole."""

    why: str
    characters: tuple[str, ...]
    checks: tuple[str, ...]


def silences(shot: Shot, result: Result) -> list[Silence]:
    """The shot's remarks, the characters' warnings, and what checks have skipped. The same reason of several checks is
    said once, and so is that of several characters on whom it silences the same checks."""
    said = [(why, "", "") for why in shot.remarks]
    said += [(why, c.name, "") for c in shot.characters for why in c.warnings]
    said += [(s.why, s.character, s.check) for s in result.skipped]
    checks_of: dict[tuple[str, str], list[str]] = {}
    for why, who, check in said:
        checks_of.setdefault((why, who), []).append(check)
    whom: dict[tuple[str, tuple[str, ...]], list[str]] = {}
    for (why, who), checks in checks_of.items():
        whom.setdefault((why, tuple(dict.fromkeys(c for c in checks if c))), []).append(who)
    return [Silence(why, tuple(w for w in who if w), checks) for (why, checks), who in whom.items()]
