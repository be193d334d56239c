# SPDX-License-Identifier: GPL-3.0-or-later
"""How much constraints count on each frame, told by keys and plain drivers, without stepping Blender.

Where keys and drivers do not tell, the value that stands now is taken for all frames.
"""

import re
from collections.abc import Callable
from typing import Any

import numpy as np

from ...core.numeric.expression import NotPlain, worked_out
from ...core.numeric.fcurve import evaluate_channels
from .keys import KeyBook
from .played import target_of

Array = np.ndarray
Value = Any  # a number, or (F,)

_JOINED: dict[str, Callable[[Array], Value]] = {
    "SUM": lambda some: some.sum(axis=0),
    "AVERAGE": lambda some: some.mean(axis=0),
    "MIN": lambda some: some.min(axis=0),
    "MAX": lambda some: some.max(axis=0),
}
#: Drivers on drivers that are followed.
_DEEP = 4
_ELEMENT = re.compile(r"(.*[^\]])\[(\d+)\]$", re.S)


class Influences:
    """What settings of IDs are on the frames (F,), scene frames."""

    def __init__(self, book: KeyBook, frames: Array) -> None:
        self._book, self._frames = book, frames
        self._driven: dict[int, dict[tuple[str, int], Any]] = {}

    def of(self, object: Any, constraint: Any) -> Value:
        """A constraint's influence, 0 to 1, where it is muted 0."""
        if not constraint.enabled:
            return 0.0
        return self.setting(object, constraint, "influence") * (1.0 - self.setting(object, constraint, "mute"))

    def setting(self, object: Any, struct: Any, name: str) -> Value:
        """A setting between 0 and 1 of something that belongs to an object."""
        now = float(getattr(struct, name))
        if not self._animated(object):
            return now
        value = self._value(object, f"{struct.path_from_id()}.{name}", 0, now, 0)
        return np.clip(value, 0.0, 1.0) if np.ndim(value) else min(max(float(value), 0.0), 1.0)

    def _animated(self, owner: Any) -> bool:
        """Whether an ID has keys or drivers at all."""
        data = getattr(owner, "animation_data", None)
        if data is None:
            return False
        if owner.session_uid not in self._driven:
            self._driven[owner.session_uid] = {(d.data_path, d.array_index): d for d in data.drivers}
        return bool(self._driven[owner.session_uid] or self._book.read(owner).keys.channels)

    def _row(self, owner: Any, path: str, index: int) -> int | None:
        """The channel of this path among the ID's keys."""
        keys = self._book.read(owner).keys
        bone, rest = target_of(path)
        rows = keys.by_owner.get(f"{owner.name}/{bone}" if bone else owner.name, ())
        return next((r for r in rows if (keys.channels[r].path, keys.channels[r].index) == (rest, index)), None)

    def _value(self, owner: Any, path: str, index: int, now: float, depth: int) -> Value:
        driver = self._driven[owner.session_uid].get((path, index))
        if driver is not None:
            try:
                return self._driver(driver, depth)
            except (NotPlain, ValueError, TypeError, ReferenceError):
                return now
        row = self._row(owner, path, index)
        if row is None:
            return now
        read = self._book.read(owner)
        if not read.keys.plain[row]:
            return now
        beyond = "linear" if read.curves[row].extrapolation == "LINEAR" else "constant"
        return evaluate_channels(read.keys, np.array([row]), self._frames, beyond)[0]

    def _driver(self, curve: Any, depth: int) -> Value:
        """What a driver makes of its variables. Raises NotPlain where that cannot be told."""
        driver = curve.driver
        if depth >= _DEEP or curve.mute:
            raise NotPlain("a driver on drivers, or a muted one")
        names = {variable.name: self._variable(variable, depth) for variable in driver.variables}
        if driver.type == "SCRIPTED":
            value = worked_out(driver.expression, {"frame": self._frames, **names})
        elif not names:
            raise NotPlain("a driver without variables")
        else:
            value = _JOINED[driver.type](np.stack(np.broadcast_arrays(*names.values())))
        if not len(curve.keyframe_points) and not len(curve.modifiers):
            return value
        if np.ndim(value) == 0:
            return curve.evaluate(float(value))
        different, place = np.unique(value, return_inverse=True)
        return np.array([curve.evaluate(float(v)) for v in different])[place]

    def _variable(self, variable: Any, depth: int) -> Value:
        if variable.type != "SINGLE_PROP":
            raise NotPlain(f"a variable of type {variable.type}")
        target = variable.targets[0]
        if target.id is None or not target.data_path:
            raise NotPlain("a variable of nothing")
        now = float(target.id.path_resolve(target.data_path))
        if not self._animated(target.id):
            return now
        element = _ELEMENT.match(target.data_path)
        path, index = (element.group(1), int(element.group(2))) if element else (target.data_path, 0)
        return self._value(target.id, path, index, now, depth + 1)

