# SPDX-License-Identifier: GPL-3.0-or-later
"""Native manners, by keys and clicks: gray buttons say why, F3 finds every command, in English, German and Japanese;
four views each show the evidence; a second window has a scene, a check and marks of its own, and may close in the
middle of a check."""

import importlib.util
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import bpy

_spec: Any = importlib.util.spec_from_file_location("hands", Path(__file__).with_name("hands.py"))
hands: Any = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(hands)


def gray_buttons_say_why(when: str) -> Iterator[float]:
    """Each command that cannot run now gives a reason of its own, and none of them fails where it can."""
    reasons: dict[str, str] = {}
    for name in sorted(dir(bpy.ops.plumbline)):
        operator = getattr(bpy.ops.plumbline, name)
        with hands.inside():
            if operator.poll():
                continue
            try:
                operator("EXEC_DEFAULT")
            except RuntimeError as error:
                reasons[name] = str(error).strip().splitlines()[0].partition("poll() ")[2]
    silent = [name for name, why in reasons.items() if not why or "context is incorrect" in why]
    assert not silent, f"these say nothing about why they are gray: {silent}"
    hands.say(f"{when}: {len(reasons)} commands are gray, each says why, as {sorted(set(reasons.values()))[0]!r}")
    yield 0.1


def typed(text: str) -> Iterator[float]:
    for letter in text:
        name = "SPACE" if letter == " " else letter.upper()
        hands.window().event_simulate(type=name, value="PRESS", unicode=letter, x=400, y=500)
        hands.window().event_simulate(type=name, value="RELEASE", x=400, y=500)
        yield 0.05


def found_by_search(text: str) -> Iterator[float]:
    """F3 over the 3D view, the words of a command, Return."""
    hands.key("F3")
    yield 0.6
    yield from typed(text)
    yield 0.6
    for value in ("PRESS", "RELEASE"):
        hands.window().event_simulate(type="RET", value=value, x=400, y=500)
    yield 0.8


def search_in_three_languages() -> Iterator[float]:
    view, scene = bpy.context.preferences.view, hands.scene()
    order = sorted(n.worst for n in hands.checked().notes)
    for language in ("en_US", "de_DE", "ja_JP"):
        view.language = language
        view.use_translate_interface = language != "en_US"
        yield 1.0
        scene.frame_set(1)
        yield from found_by_search("next note")
        assert scene.frame_current == order[0], f"{language}: the search went to {scene.frame_current}, not {order[0]}"
        yield from found_by_search("next note")
        assert scene.frame_current == order[1], f"{language}: the search went to {scene.frame_current}, not {order[1]}"
        yield from found_by_search("previous note")
        assert scene.frame_current == order[0], f"{language}: back went to {scene.frame_current}"
        last = hands.checked()
        yield from found_by_search("check shot")
        until = time.perf_counter() + 30
        while hands.checked() is last or hands.module("session").job is not None:
            assert time.perf_counter() < until, f"{language}: the search started no check"
            yield 0.1
        assert len(hands.checked().notes) == len(order), f"{language}: {len(hands.checked().notes)} notes"
        hands.say(f"F3 in {language}: next note, previous note and check shot are found and run")
    view.language = "en_US"
    yield 0.5


def four_views() -> Iterator[float]:
    ghosts, note = hands.module("drawing.ghosts"), hands.go_to("overextension")
    hands.near(note, 4.0)
    yield 0.3
    ghosts.let_go()
    hands.key("Q", ctrl=True, alt=True)
    yield 1.2
    views = [r for r in hands.area("VIEW_3D").regions if r.type == "WINDOW" and r.width > 1]
    assert len(views) == 4, f"{len(views)} views"
    for view in views:
        drawn = ghosts._drawn.get(view.as_pointer())
        assert drawn is not None and drawn.top and len(drawn.rows) == 3, "one of four views shows no plate"
        assert all(0 <= row.x < view.width and 0 <= row.y < view.height for row in drawn.rows), "a plate is cut"
    hands.key("Q", ctrl=True, alt=True)
    yield 0.8
    hands.say("four views: evidence and a whole plate in each")


def side(window: Any) -> tuple[Any, Any]:
    """The 3D view of a window, and its sidebar."""
    place = max((a for a in window.screen.areas if a.type == "VIEW_3D"), key=lambda a: a.width * a.height)
    return place, next(r for r in place.regions if r.type == "UI")


def press_check(window: Any) -> Iterator[float]:
    """Clicks Check Shot in a window's own sidebar, until a check runs."""
    _, bar = side(window)
    x, y = bar.x + bar.width // 2 - 10, bar.y + bar.height - 50
    for type_, value in (("MOUSEMOVE", "NOTHING"), ("LEFTMOUSE", "PRESS"), ("LEFTMOUSE", "RELEASE")):
        window.event_simulate(type=type_, value=value, x=x, y=y)
    until = time.perf_counter() + 10
    while hands.module("session").job is None:
        assert time.perf_counter() < until, "the button of the second window did not start a check"
        yield 0.02


def marks_of(window: Any) -> set[Any]:
    """The notes of which a window's timeline shows marks."""
    place = next(a for a in window.screen.areas if a.type == "DOPESHEET_EDITOR")
    region = next(r for r in place.regions if r.type == "WINDOW")
    with bpy.context.temp_override(window=window, screen=window.screen, area=place, region=region):
        found = hands.module("drawing.strips").picture(bpy.context)
    return set() if found is None else {id(n) for n in found[0].notes}


def two_windows_two_scenes() -> Iterator[float]:
    session, manager = hands.module("session"), bpy.context.window_manager
    first = hands.scene()
    session.clear()
    with hands.inside():
        bpy.ops.wm.window_new_main()
    yield 1.5
    second = manager.windows[1]
    with bpy.context.temp_override(window=second, screen=second.screen):
        bpy.ops.scene.new(type="FULL_COPY")
    yield 1.0
    other = second.scene
    assert other != first and hands.window().scene == first, "both windows show one scene"
    place, _ = side(second)
    place.spaces.active.show_region_ui = True
    yield 0.6
    side(second)[1].active_panel_category = "Plumbline"
    place.tag_redraw()
    yield 1.0
    yield from press_check(second)
    while session.job is not None:
        yield 0.1
    assert session.of(other) is not None and session.of(other).notes, "the second window's scene was not checked"
    assert session.of(first) is None, "the first window's scene was checked too"
    yield 0.5
    assert marks_of(second) == {id(n) for n in session.of(other).notes} and not marks_of(hands.window())
    yield from hands.check()
    yield 0.5
    ours, theirs = session.of(first), session.of(other)
    assert len(ours.notes) == len(theirs.notes), f"{len(ours.notes)} and {len(theirs.notes)} notes of one motion"
    assert marks_of(hands.window()) == {id(n) for n in ours.notes}
    assert marks_of(second) == {id(n) for n in theirs.notes}, "a window shows the marks of the other's scene"

    # an edit of one scene leaves the other's notes fresh
    rig = next(o for o in other.objects if o.type == "ARMATURE")
    assert rig.name not in first.objects
    rig.pose.bones["torso"].location.x += 0.1
    rig.pose.bones["torso"].keyframe_insert("location", frame=other.frame_current)
    yield 1.0
    assert session.edited(other) and not session.edited(first), "an edit marks the other window's notes"
    hands.say(f"two windows, two scenes: {len(ours.notes)} notes, marks and edits of each are its own")

    # the window closes in the middle of its check
    yield from press_check(second)
    yield 0.2
    assert session.job is not None and session.job.uid == other.session_uid
    with bpy.context.temp_override(window=second, screen=second.screen):
        bpy.ops.wm.window_close()
    yield 1.5
    assert session.job is None and hands.quiet(), "a closed window leaves its check behind"
    assert not any(c.name.startswith(".probe") for c in bpy.data.collections)
    assert session.of(first) is ours and not session.edited(first)
    hands.say("a window closed in the middle of its check leaves nothing behind")
    bpy.data.scenes.remove(other)
    yield 0.5


def steps() -> Iterator[float]:
    hands.install()
    yield from hands.open_shot()
    yield from gray_buttons_say_why("never checked")
    yield from hands.check()
    yield 0.5
    yield from gray_buttons_say_why("checked")
    yield from search_in_three_languages()
    yield from four_views()
    yield from two_windows_two_scenes()


hands.drive(steps())
