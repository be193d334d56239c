# SPDX-License-Identifier: GPL-3.0-or-later
"""The checks of the house: found by walking their folder, one in each file."""

import importlib
import pkgutil
from collections.abc import Iterator
from functools import cache

from . import checks
from .check import Check


class UnknownCheck(ValueError):
    """A check name that is not in the catalogue."""


@cache
def catalogue() -> dict[str, Check]:
    """Check name -> check, in the order of names. Raises TypeError where a file does not hold exactly one check."""
    found: dict[str, Check] = {}
    for name in _modules():
        module = importlib.import_module(f"{checks.__name__}.{name}")
        own = [
            thing
            for thing in vars(module).values()
            if isinstance(thing, type) and issubclass(thing, Check) and thing.__module__ == module.__name__
        ]
        if len(own) != 1:
            raise TypeError(f"checks/{name}.py must hold exactly one Check, it holds {len(own)}")
        check = own[0]()
        found[check.name] = check
    return found


def loading() -> Iterator[None]:
    """Imports what ``catalogue`` is made of, a check in each step: the first time that takes longer than Blender may be
    held up at once."""
    for name in _modules():
        importlib.import_module(f"{checks.__name__}.{name}")
        yield


def _modules() -> list[str]:
    return sorted(info.name for info in pkgutil.iter_modules(checks.__path__))


def chosen(names: list[str] | None) -> list[Check]:
    """The checks of these names, or all; raises UnknownCheck with a sentence."""
    known = catalogue()
    if names is None:
        return list(known.values())
    for name in names:
        if name not in known:
            raise UnknownCheck(f'there is no check "{name}"; there are {", ".join(known)}')
    return [known[name] for name in dict.fromkeys(names)]
