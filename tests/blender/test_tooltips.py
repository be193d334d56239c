# SPDX-License-Identifier: GPL-3.0-or-later
"""The mouse rests on a control and Blender tells what it does: every operator, every property of ours and of theirs,
and every control that a panel draws. What is gray says why."""

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import bpy
import pytest

pytestmark = pytest.mark.usefixtures("face")

HOME = Path(__file__).parents[2] / "blender_addon"
#: Words that a tooltip has at the least: a name said again explains nothing.
FEWEST = 4
#: What Blender gives every operator, list and group of properties by itself.
THEIRS = {"rna_type", "name", "bl_idname"}


def operators() -> dict[str, Any]:
    """What Blender knows of each operator of ours, by its name."""
    return {name: getattr(bpy.ops.plumbline, name).get_rna_type() for name in sorted(dir(bpy.ops.plumbline))}


def groups() -> dict[str, Any]:
    """What Blender knows of our groups of properties and preferences, by the name of the class."""
    families = (bpy.types.PropertyGroup, bpy.types.AddonPreferences)
    every = [one for family in families for one in family.__subclasses__() if one.__name__.startswith("PLUMBLINE_")]
    return {one.__name__: one.bl_rna for one in every if one.is_registered}


def poor(name: str, text: str) -> str:
    """What is wrong with a tooltip, or ''."""
    words = text.split()
    if len(words) < FEWEST:
        return f"says only {text!r}"
    if "\n" in text:
        return f"breaks its line by itself: {text!r}"
    if text.rstrip().endswith("."):
        return "ends with a full stop, which Blender adds"
    if text[0] != text[0].upper():
        return "begins small"
    fresh = {w.lower().strip(",;") for w in words} - {w.lower() for w in name.split()}
    return "" if len(fresh) >= FEWEST - 1 else f"only says its name again: {text!r}"


def properties(rna: Any) -> Iterator[tuple[str, str, str]]:
    """(identifier, label, tooltip) of the properties that are ours."""
    base = rna.base.properties.keys() if rna.base is not None else ()
    for name, value in rna.properties.items():
        if name not in base and name not in THEIRS and not value.is_hidden:
            yield name, value.name, value.description


def test_every_operator_tells_what_it_does() -> None:
    told = {name: poor(rna.name, rna.description) for name, rna in operators().items()}
    assert len(told) > 20 and not {name: what for name, what in told.items() if what}


def test_every_property_that_people_set_tells_what_it_is() -> None:
    """Of operators, which have them in the panel of the last command; of the rest, those that are drawn."""
    shown, wrong, seen = {name for *_, name in drawn()}, {}, 0
    for owner, rna in (operators() | groups()).items():
        for identifier, label, text in properties(rna):
            if owner in groups() and identifier not in shown:
                continue
            seen += 1
            if what := poor(label, text):
                wrong[f"{owner} {label}"] = what
    assert seen > 10 and not wrong


@cache
def drawn() -> tuple[tuple[str, int, str], ...]:
    """(file, line, name) of each property that a panel, menu or list draws by ``prop``."""
    out = []
    for path in sorted(HOME.rglob("*.py")):
        text = path.read_text("utf-8")
        for node in ast.walk(ast.parse(text)) if ".prop(" in text else ():
            call = isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "prop"
            if call and len(node.args) > 1 and isinstance(node.args[1], ast.Constant):
                out.append((path.name, node.lineno, str(node.args[1].value)))
    return tuple(out)


def test_every_property_that_is_drawn_is_described() -> None:
    """By the name that the panel asks for."""
    known = {name: text for rna in groups().values() for name, _, text in properties(rna)}
    wrong = [f"{file}:{line} {name}" for file, line, name in drawn() if len(known.get(name, "").split()) < FEWEST]
    assert len(drawn()) > 5 and not wrong


def test_every_operator_that_can_be_gray_says_why() -> None:
    """In a file with nothing in it almost all are gray."""
    gray, silent = 0, []
    for name in sorted(dir(bpy.ops.plumbline)):
        operator = getattr(bpy.ops.plumbline, name)
        if operator.poll():
            continue
        gray += 1
        with pytest.raises(RuntimeError) as told:
            operator()
        why = str(told.value).strip().splitlines()[0].partition("poll() ")[2]
        if len(why.split()) < 3 or "context is incorrect" in why:
            silent.append(f"{name}: {why!r}")
    assert gray > 10 and not silent


def test_poor_tooltips_are_told() -> None:
    assert poor("Next Note", "Next note") and poor("Next Note", "") and poor("Go", "Goes to the next note there is.")
    assert poor("Go", "Goes to the next\nnote there is")
    assert not poor("Next Note", "Go to the note after this frame, worst frame first")
