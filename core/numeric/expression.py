# SPDX-License-Identifier: GPL-3.0-or-later
"""Plain arithmetic written out, worked on numbers or arrays: what most drivers of a rig say."""

import ast
import operator
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

Value = Any  # a number or an array

_TWO: dict[type, Callable[[Value, Value], Value]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
    ast.Eq: operator.eq,
    ast.NotEq: operator.ne,
    ast.Lt: operator.lt,
    ast.LtE: operator.le,
    ast.Gt: operator.gt,
    ast.GtE: operator.ge,
}
_CALLS: dict[str, Callable[..., Value]] = {
    "min": lambda *a: np.minimum.reduce(np.broadcast_arrays(*a)),
    "max": lambda *a: np.maximum.reduce(np.broadcast_arrays(*a)),
    "abs": np.abs,
    "int": np.trunc,
    "bool": lambda a: np.asarray(a) != 0,
    "clamp": lambda a, low=0.0, high=1.0: np.clip(a, low, high),
}


class NotPlain(ValueError):
    """An expression that is more than arithmetic, or that names what is not known."""


def worked_out(text: str, names: Mapping[str, Value]) -> Value:
    """The value of an expression of + - * /, comparisons, conditions and min, max, abs, int, bool, clamp; truth counts
    as 1. names: the values of its variables, numbers or (F,) arrays. Raises NotPlain."""
    try:
        with np.errstate(all="ignore"):
            value = np.asarray(_of(ast.parse(text.strip(), mode="eval").body, names), float)
    except (SyntaxError, TypeError, ValueError, KeyError, ZeroDivisionError, RecursionError) as error:
        raise NotPlain(f"{text!r}: {error}") from None
    if not np.isfinite(value).all():
        raise NotPlain(f"{text!r} gives no number")
    return value if value.ndim else float(value)


def _of(node: ast.expr, names: Mapping[str, Value]) -> Value:
    match node:
        case ast.Constant(value=bool() | int() | float() as value):
            return value
        case ast.Name(id=name):
            return names[name]
        case ast.UnaryOp(op=ast.USub(), operand=inner):
            return -1 * _of(inner, names)
        case ast.UnaryOp(op=ast.UAdd(), operand=inner):
            return _of(inner, names)
        case ast.UnaryOp(op=ast.Not(), operand=inner):
            return np.asarray(_of(inner, names)) == 0
        case ast.BinOp(left=left, op=op, right=right) if type(op) in _TWO:  # truth counts as a number
            return _TWO[type(op)](1 * np.asarray(_of(left, names)), 1 * np.asarray(_of(right, names)))
        case ast.Compare(left=left, ops=[op], comparators=[right]) if type(op) in _TWO:
            return _TWO[type(op)](np.asarray(_of(left, names)), np.asarray(_of(right, names)))
        case ast.IfExp(test=test, body=then, orelse=other):
            return np.where(np.asarray(_of(test, names)) != 0, _of(then, names), _of(other, names))
        case ast.BoolOp(op=op, values=values):
            some = np.broadcast_arrays(*(np.asarray(_of(v, names)) != 0 for v in values))
            return np.logical_and.reduce(some) if isinstance(op, ast.And) else np.logical_or.reduce(some)
        case ast.Call(func=ast.Name(id=name), args=args, keywords=[]) if name in _CALLS:
            return _CALLS[name](*(_of(a, names) for a in args))
    raise NotPlain(f"{type(node).__name__} is not worked out")
