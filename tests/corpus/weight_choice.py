# SPDX-License-Identifier: GPL-3.0-or-later
"""How the numbers of balance and flight stand on clips that they were not chosen on: each is set to shares of itself,
and false notes and planted faults not told as asked are counted. A share is taken where the choosing clips have the
fewest mistakes, the one in use first."""

from types import ModuleType
from typing import TYPE_CHECKING, Any

from plumbline.core.checks import airborne, hard_landing
from plumbline.core.measures import flights, outside, support
from plumbline.core.note import Limit
from plumbline.core.report.progress import Progress
from plumbline.core.testing.plants import Case

from .slip_choice import SHARES, Mistakes, Swept, chosen, numbers_table

if TYPE_CHECKING:
    from .weight_page import Host

NUMBERS: tuple[tuple[ModuleType | type, str], ...] = (
    *((flights, n) for n in ("CLEARS", "RESTS", "FALLS", "STRAYS")),
    *((support, n) for n in ("HOLD", "MIXED", "UNSURE", "LOW", "NEAR_FLIGHT")),
    (outside, "LIMIT"), (outside, "STANDS"),
    *((hard_landing, n) for n in ("SLOW", "TOUCH")), (hard_landing.HardLanding, "limit"),
    (airborne, "SURE"),
)


def _few(host: "Host") -> list[Case]:
    """The first middle and the first large one of each kind."""
    taken: dict[tuple[str, str], Case] = {}
    for case in host.cases:
        if case.size != "small":
            taken.setdefault((case.kind, case.size), case)
    return list(taken.values())


def mistakes(found: list["Host"]) -> Mistakes:
    from .weight_page import false, right

    return Mistakes(sum(len(false(h)) for h in found), 0, sum(not right(case) for h in found for case in _few(h)))


def _scaled(used: Any, share: float) -> Any:
    return used.scaled(share) if isinstance(used, Limit) else used * share


def swept(found: list["Host"], progress: Progress) -> Swept:
    sets = [[h for h in found if h.subject.held_back == held] for held in (False, True)]
    same = [mistakes(s) for s in sets]
    out: Swept = []
    for k, (owner, name) in enumerate(NUMBERS):
        used = getattr(owner, name)
        told: list[dict[float, Mistakes]] = [{1.0: same[0]}, {1.0: same[1]}]
        for share in SHARES:
            progress.part(f"weight's numbers: {name} x {share:g}", 0.4 + 0.6 * k / len(NUMBERS))
            if share != 1.0:
                setattr(owner, name, _scaled(used, share))
                try:
                    for into, hosts_of in zip(told, sets, strict=True):
                        into[share] = mistakes(hosts_of)
                finally:
                    setattr(owner, name, used)
        title = f"{getattr(owner, '__name__', '').rpartition('.')[2]} {name}"
        out.append((title, used.medium if isinstance(used, Limit) else used, told[0], told[1]))
    return out


def page(found: list["Host"], progress: Progress) -> str:
    # at the lower rates the same clips say the same: one rate each, and no figure that can only be low
    judged = [h for h in found if not h.guessed and h.shot.rate < 31 and (
        h.subject.rate != "24" or h.subject.kind == "keyed" or h.cases)]
    told = swept(judged, progress)
    held = [h for h in judged if h.subject.held_back]
    moved = [name for name, _, on, _ in told if chosen(on) != 1.0]
    return (
        f"{len(judged) - len(held)} clips choose, with {sum(len(_few(h)) for h in judged if not h.subject.held_back)} "
        f"faults planted in them (of each kind one middle and one large a clip); {len(held)} are held back, with "
        f"{sum(len(_few(h)) for h in held)}. Mistakes are false notes + 0 + planted faults not told as asked. "
        + (f"The choosing clips would rather have another share of {', '.join(moved)}." if moved else
           "The choosing clips would have no other share of any number.")
        + f"\n\n{numbers_table(told)}\n")
