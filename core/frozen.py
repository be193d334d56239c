# SPDX-License-Identifier: GPL-3.0-or-later
"""Arrays that are made read-only, and whose shapes are checked, when the object that holds them is born."""

from typing import Any

import numpy as np

Array = np.ndarray


def freeze(owner: Any, name: str, shape: tuple[int | None, ...] | None = None, dtype: Any = float) -> None:
    """Makes an attribute of a frozen dataclass a read-only array of this shape (None: any size) and kind; None stays
    None. Raises ValueError where the shape is another."""
    value = getattr(owner, name)
    if value is None:
        return
    array = np.asarray(value, dtype).view()
    if shape is not None and (
        array.ndim != len(shape) or any(s not in (None, n) for s, n in zip(shape, array.shape, strict=True))
    ):
        raise ValueError(f"{type(owner).__name__}.{name}: expected shape {shape}, got {array.shape}")
    array.flags.writeable = False
    object.__setattr__(owner, name, array)


def rows_of(values: Array) -> Array:
    """(F, P, 3) as (3, P, F), and (F, P, 3, 3) as (3, 3, P, F): read-only, the same memory where it lies so already."""
    rows = np.ascontiguousarray(values.transpose(*range(2, values.ndim), 1, 0)).view()
    rows.flags.writeable = False
    return rows
