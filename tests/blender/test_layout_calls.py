# SPDX-License-Identifier: GPL-3.0-or-later
"""Panels draw only in a window, and a window cannot be had of every Blender: so what they call is held against what
this Blender's layout knows, functions, keywords, icons, properties and operators."""

import ast
from collections.abc import Iterator
from pathlib import Path

import bpy
import pytest

HOME = Path(__file__).parents[2] / "blender_addon"
FILES = sorted(path for path in HOME.rglob("*.py") if "layout" in path.read_text("utf-8"))
LAYOUT = bpy.types.UILayout.bl_rna
ICONS = set(LAYOUT.functions["label"].parameters["icon"].enum_items.keys())
#: What a layout's functions give that is no layout: the properties of an operator, and nothing.
NO_LAYOUT = {"operator", "operator_menu_enum", "label", "prop", "separator", "menu", "progress", "template_list"}
#: Written in Python by Blender, so not among the functions of its data.
PYTHON = {name for name in dir(bpy.types.UILayout) if callable(getattr(bpy.types.UILayout, name, None))}


def _is_layout(node: ast.AST, known: set[str]) -> bool:
    if isinstance(node, ast.Name):
        return node.id in known
    return isinstance(node, ast.Attribute) and node.attr == "layout"


def _names(target: ast.AST) -> list[str]:
    if isinstance(target, ast.Tuple):
        return [name for one in target.elts for name in _names(one)]
    return [target.id] if isinstance(target, ast.Name) else []


def _assigned(function: ast.AST) -> Iterator[tuple[list[str], ast.AST]]:
    for node in ast.walk(function):
        if isinstance(node, ast.Assign):
            for target in node.targets:
                yield _names(target), node.value
        elif isinstance(node, ast.AnnAssign) and node.value is not None:
            yield _names(node.target), node.value


def wrong(tree: ast.AST) -> list[str]:
    """What the code asks of a layout that this Blender's has not got, as 'line: what'."""
    found: dict[str, None] = {}
    for function in (n for n in ast.walk(tree) if isinstance(n, ast.FunctionDef)):
        known = {a.arg for a in function.args.args if a.arg in ("layout", "box", "row", "column")}
        for _ in range(4):  # a row of a column of a box
            for names, value in _assigned(function):
                call = value.func if isinstance(value, ast.Call) else None
                if isinstance(value, ast.Tuple):  # layout, other = self.layout, ...
                    known |= {n for n, v in zip(names, value.elts, strict=False) if _is_layout(v, known)}
                elif _is_layout(value, known) or (
                    isinstance(call, ast.Attribute) and _is_layout(call.value, known) and call.attr not in NO_LAYOUT
                ):
                    known |= set(names)
        for node in ast.walk(function):
            for what in _of(node, known):
                found[f"{getattr(node, 'lineno', 0)}: {what}"] = None
    return list(found)


def _of(node: ast.AST, known: set[str]) -> Iterator[str]:
    if isinstance(node, ast.Assign):
        for target in node.targets:
            of_layout = isinstance(target, ast.Attribute) and _is_layout(target.value, known)
            if of_layout and target.attr not in LAYOUT.properties:
                yield f"no property {target.attr}"
    if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and _is_layout(node.func.value, known)):
        return
    name = node.func.attr
    if name not in LAYOUT.functions:
        if name not in PYTHON:
            yield f"no function {name}"
        return
    for keyword in node.keywords:
        if keyword.arg is not None and keyword.arg not in LAYOUT.functions[name].parameters:
            yield f"{name} takes no {keyword.arg}"
        if keyword.arg == "icon":
            yield from (
                f"no icon {one.value}"
                for one in ast.walk(keyword.value)
                if isinstance(one, ast.Constant) and isinstance(one.value, str) and one.value.isupper()
                if one.value not in ICONS
            )
    if name.startswith("operator") and node.args and isinstance(node.args[0], ast.Constant):
        family, _, verb = node.args[0].value.partition(".")
        if not hasattr(bpy.types, f"{family.upper()}_OT_{verb}"):
            yield f"no operator {node.args[0].value}"


pytestmark = pytest.mark.usefixtures("face")


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_every_call_is_known_to_this_blender(path: Path) -> None:
    assert wrong(ast.parse(path.read_text("utf-8"))) == []


def test_panels_are_among_what_is_looked_at() -> None:
    assert {"sidebar.py", "note_list.py", "card.py", "menus.py", "wrapped.py"} <= {path.name for path in FILES}


@pytest.mark.parametrize(
    "code",
    [
        "row = layout.row(aligned=True)",
        "layout.box().magic()\nbox = layout.box()\nbox.magic()",
        "layout.label(text='a', icon='NO_SUCH_ICON')",
        "head, body = layout.panel('x')\nbody.operator('plumbline.no_such')",
        "sub = layout.column()\nsub.wobble = 1",
        "self.layout.operator('plumbline.check_shot', txt='a')",
    ],
)
def test_it_sees_what_is_wrong(code: str) -> None:
    lines = "\n    ".join(code.splitlines())
    assert wrong(ast.parse(f"def draw(self, layout):\n    {lines}"))
    good = "head, body = layout.panel('x', default_closed=True)\n    body.scale_y = 2\n    body.label(icon='INFO')"
    assert not wrong(ast.parse(f"def draw(self, layout):\n    {good}"))
