# SPDX-License-Identifier: GPL-3.0-or-later
"""Blender's rules for add-ons that can be read from the source. Each rule is also shown to bite on a planted line."""
import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

HOME = Path(__file__).parents[1]
FILES = sorted([*(HOME / "blender_addon").rglob("*.py"),
                *(path for path in (HOME / "core").rglob("*.py") if "testing" not in path.parts)])
NETWORK = {"urllib", "socket", "http", "requests", "ftplib", "smtplib", "asyncio", "pip", "ensurepip"}


@cache
def nodes(tree: ast.AST) -> tuple[ast.AST, ...]:
    """All of a file, walked once for all rules."""
    return tuple(ast.walk(tree))


def gray_without_a_reason(tree: ast.AST) -> Iterator[int]:
    """A poll that can say no must say why: cls.poll_message_set. A panel has none: it is there or not."""
    hidden = {inner for node in nodes(tree) if isinstance(node, ast.ClassDef)
              and any(isinstance(base, ast.Attribute) and base.attr in ("Panel", "Menu") for base in node.bases)
              for inner in node.body}
    for node in nodes(tree):
        if node in hidden:
            continue
        if isinstance(node, ast.FunctionDef) and node.name == "poll":
            can_refuse = any(isinstance(inner, ast.Return) and not (
                isinstance(inner.value, ast.Constant) and inner.value.value is True) for inner in ast.walk(node))
            # the base poll of a mixin speaks for those that call it
            speaks = any(isinstance(inner, ast.Attribute) and inner.attr in ("poll_message_set", "poll")
                         for inner in ast.walk(node))
            if can_refuse and not speaks:
                yield node.lineno


def reaches_for_the_network(tree: ast.AST) -> Iterator[int]:
    for node in nodes(tree):
        names = ([alias.name for alias in node.names] if isinstance(node, ast.Import) else
                 [node.module or ""] if isinstance(node, ast.ImportFrom) and not node.level else [])
        if NETWORK & {name.partition(".")[0] for name in names}:
            yield node.lineno


def untranslatable(tree: ast.AST) -> Iterator[int]:
    """Blender extracts literal strings only, so text is translated first and formatted after."""
    for node in nodes(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in (
                "report", "label", "operator", "prop", "menu", "poll_message_set"):
            texts = [keyword.value for keyword in node.keywords if keyword.arg == "text"]
            texts += node.args[1:2] if node.func.attr == "report" else node.args[:1]
            if any(isinstance(text, ast.JoinedStr) for text in texts):
                yield node.lineno


HOOKS = ("iface_", "rpt_", "tip_", "n_")


def never_translated(tree: ast.AST) -> Iterator[int]:
    """Why a button is gray, and tooltips made while they are shown, no Blender translates by itself: a hook does."""
    for node in nodes(tree):
        if isinstance(node, ast.FunctionDef) and node.name in ("refusal", "description"):
            for returned in (inner.value for inner in ast.walk(node) if isinstance(inner, ast.Return) and inner.value):
                hooked = {text for call in ast.walk(returned) if isinstance(call, ast.Call) for text in ast.walk(call)}
                for text in ast.walk(returned):
                    words = isinstance(text, ast.Constant) and isinstance(text.value, str) and text.value
                    if (words or isinstance(text, ast.JoinedStr)) and text not in hooked:
                        yield text.lineno


def put_together_before_the_hook(tree: ast.AST) -> Iterator[int]:
    """What a hook is given is one literal, or words marked elsewhere: Blender's extractor reads no other."""
    for node in nodes(tree):
        hook = isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in HOOKS
        if hook and (not node.args or isinstance(node.args[0], (ast.JoinedStr, ast.BinOp))):
            yield node.lineno


def knows_its_own_name(tree: ast.AST) -> Iterator[int]:
    """The module is called bl_ext.<repository>.plumbline: preferences are found by __package__, never by a literal."""
    for node in nodes(tree):
        if isinstance(node, ast.Subscript) and isinstance(node.value, ast.Attribute) and node.value.attr == "addons":
            name = node.slice
            if isinstance(name, ast.Constant) or (isinstance(name, ast.Name) and name.id == "__name__"):
                yield node.lineno


RULES = {
    gray_without_a_reason: "class A:\n    def poll(cls, context):\n        return context.object is not None",
    reaches_for_the_network: "import urllib.request",
    untranslatable: "layout.label(text=f'{n} notes')",
    never_translated: "def refusal(context):\n    return '' if context.object else 'Select an object'",
    put_together_before_the_hook: "layout.label(text=iface_('Frame ' + number))",
    knows_its_own_name: "context.preferences.addons['plumbline'].preferences",
}


@cache
def read(path: Path) -> ast.Module:
    return ast.parse(path.read_text("utf-8"))


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.__name__)
def test_nothing_breaks_the_rule(rule) -> None:
    found = [f"{path.relative_to(HOME)}:{line}" for path in FILES for line in rule(read(path))]
    assert found == [], rule.__doc__


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.__name__)
def test_the_rule_bites(rule) -> None:
    assert list(rule(ast.parse(RULES[rule])))


def test_every_operator_is_described_and_named_as_its_family() -> None:
    """Class names start PLUMBLINE_ and ids plumbline.; an operator without words is not reported by Blender itself."""
    for path in FILES:
        for node in nodes(read(path)):
            if not isinstance(node, ast.ClassDef):
                continue
            bases = {base.attr if isinstance(base, ast.Attribute) else getattr(base, "id", "") for base in node.bases}
            where = f"{path.relative_to(HOME)}:{node.lineno}"
            if bases & {"Operator", "Panel", "Menu", "UIList", "PropertyGroup", "AddonPreferences"}:
                assert node.name.startswith("PLUMBLINE_"), where
            if "Operator" in bases:
                fields = {target.id: item.value for item in node.body if isinstance(item, ast.Assign)
                          for target in item.targets if isinstance(target, ast.Name)}
                assert ast.get_docstring(node) or "bl_description" in fields, f"{where} has no description"
                identity = fields.get("bl_idname")
                assert isinstance(identity, ast.Constant) and str(identity.value).startswith("plumbline."), where
