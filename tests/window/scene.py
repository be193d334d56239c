# SPDX-License-Identifier: GPL-3.0-or-later
"""Marks and evidence in a real window: drawn, hovered, clicked, in two windows and four views, large and small, on
both themes, in other languages, and with five hundred notes."""

import importlib.util
import statistics
import time
import tracemalloc
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import bpy
import numpy as np

_spec: Any = importlib.util.spec_from_file_location("hands", Path(__file__).with_name("hands.py"))
hands: Any = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(hands)

REDRAWS = 10_000
#: Checks that find the keeper's faults, each once.
FOUND = [
    "airborne", "arc-break", "dead-stop", "frozen-part", "hard-landing", "jitter", "joint-limit", "linear-span",
    "off-balance", "overextension", "pop", "slip", "stuck-in-space", "tangent", "thin-support", "twinned-stop",
    "undriven-move", "uneven-spacing",
]
#: Checks whose evidence is some centimeters large, and meters from which it is seen.
CLOSE = {"linear-span": 0.8, "slip": 1.2}
#: Checks whose evidence is seen from the side, from so many meters, turned about the figure by so many degrees, and the
#: size of the picture in pixels.
ASIDE = {
    "thin-support": (1.2, -60, (600, 400)),
    "airborne": (2.2, 52, (600, 520)),
    "hard-landing": (1.4, 100, (600, 460)),
    "off-balance": (2.9, 95, (600, 520)),
    "undriven-move": (5.0, 52, (600, 440)),
    "arc-break": (1.2, 52, (600, 400)),
}


def move(x: float, y: float) -> None:
    hands.window().event_simulate(type="MOUSEMOVE", value="NOTHING", x=round(x), y=round(y))


def bars(kind: str = "DOPESHEET_EDITOR") -> tuple[Any, Any]:
    """Table and picture of the marks of an editor as it is now."""
    with hands.inside(kind):
        found = hands.module("drawing.strips").picture(bpy.context)
    assert found is not None, f"no marks in {kind}"
    return found


def timeline_box() -> tuple[float, float, float, float]:
    """The middle of the timeline."""
    left, bottom, width, height = hands.around("DOPESHEET_EDITOR")
    return (left, bottom, min(width, 1060), height)


def marks_answer_the_mouse() -> Iterator[float]:
    strips = hands.module("drawing.strips")
    yield from hands.higher("DOPESHEET_EDITOR", 60)  # so that a tooltip has room
    table, picture = bars()
    assert sorted(picture.who) == list(range(len(table.notes))), "not every note has its bar"
    region = hands.region("DOPESHEET_EDITOR", "WINDOW")
    note, box = table.notes[picture.who[-1]], picture.hits[-1]  # the last drawn lies over all others
    x, y = region.x + (box[0] + box[2]) / 2, region.y + (box[1] + box[3]) / 2
    move(x - 40, y - 60)
    yield 0.3
    move(x, y)
    yield 1.2
    under = strips.hovered_note()
    assert under is note, f"the mouse lies on {under and under.text!r}"
    hands.picture("marks-hover", timeline_box())
    hands.press(round(x), round(y))
    yield 0.8
    went = hands.scene().frame_current
    assert went == note.worst, f"the click went to {went}, not to {note.worst}"
    hands.say(f"a click on a mark went to frame {note.worst}")
    yield 0.5
    # beside all marks the editor's own click moves the playhead
    with hands.inside("DOPESHEET_EDITOR"):
        view = bpy.context.region.view2d
        places = {f: view.view_to_region(f, 0, clip=False)[0] for f in range(5, 185)}
    free = [f for f, x in places.items() if all(not (box[0] - 4 <= x <= box[2] + 4) for box in picture.hits)]
    bare, left = free[0], places[free[0]]
    hands.press(region.x + left, round(y))
    yield 0.6
    assert abs(hands.scene().frame_current - bare) <= 1, f"a plain click went to frame {hands.scene().frame_current}"
    hands.say("a click beside the marks is the editor's own")


def evidence_lies_where_blender_shows_it() -> Iterator[float]:
    from bpy_extras.view3d_utils import location_3d_to_region_2d

    views = hands.module("drawing.views")
    view = hands.area("VIEW_3D").spaces.active.region_3d
    worst = 0.0
    rng = np.random.default_rng(5)
    for kind in ("PERSP", "ORTHO", "CAMERA"):
        view.view_perspective = kind
        yield 0.4
        # the area's own view, of which the context of a timer knows nothing
        with hands.inside(), bpy.context.temp_override(region_data=view):
            region = bpy.context.region
            seen = views.seen(bpy.context, hands.scene().frame_current)
            for place in rng.uniform(-1, 2, (60, 3)):
                theirs = location_3d_to_region_2d(region, view, place)
                ours = seen.flat(seen.frame.pixels([place]))[0]
                if theirs is not None and np.isfinite(ours).all() and max(abs(theirs.x), abs(theirs.y)) < 4000:
                    worst = max(worst, float(np.hypot(ours[0] - theirs.x, ours[1] - theirs.y)))
    assert worst < 0.5, f"evidence lies {worst:.2f} px beside the place"
    hands.say(f"evidence lies within {worst:.3f} px of where Blender shows the place, in three kinds of view")


def pictures_of_evidence() -> Iterator[float]:
    space = hands.area("VIEW_3D").spaces.active
    space.show_region_ui = False
    overlay = space.overlay
    overlay.show_text = space.show_gizmo_navigate = overlay.show_cursor = overlay.show_bones = False
    for name in ("joint-limit", "overextension", "slip", "linear-span", "tangent"):
        note = hands.go_to(name)
        hands.near(note, CLOSE.get(name, 1.8))
        yield 0.8
        hands.picture(f"evidence-{name}", hands.evidence_box())
    for name, (far, about, size) in ASIDE.items():
        note = hands.go_to(name)
        hands.near(note, far)
        space.region_3d.view_rotation = hands.from_the_side(about)
        yield 0.8
        hands.picture(f"evidence-{name}", hands.evidence_box(*size), percent=round(60000 / size[0]))
    note = hands.go_to("off-balance")  # the hips' way from nearby
    mass = next(e for e in note.evidence if getattr(e, "kind", "") == "mass")
    space.region_3d.view_location = mass.places[note.worst - mass.frames[0]]
    space.region_3d.view_distance, space.region_3d.view_rotation = 1.0, hands.from_the_side(70)
    yield 0.8
    hands.picture("evidence-off-balance-mended", hands.around("VIEW_3D", "WINDOW"), percent=60)
    overlay.show_text = space.show_gizmo_navigate = overlay.show_cursor = overlay.show_bones = True
    space.show_region_ui = True
    hands.say("pictures of every evidence")


def marks_stand_out() -> Iterator[float]:
    """Contrast of marks at rest, read from the screen: the fill against the plate beside it."""
    with hands.inside("DOPESHEET_EDITOR"):
        bpy.context.scene.frame_set(60)
    for name in ("Blender_Dark.xml", "Blender_Light.xml"):
        hands.theme(name)
        yield 1.0
        table, picture = bars()
        region = hands.region("DOPESHEET_EDITOR", "WINDOW")
        pixels = hands.screen_pixels()
        assert pixels.max() > 0, "the screen cannot be read"
        boxes, least = picture.hits, 99.0
        across = np.arange(1, region.width - 1)
        inside = (across >= boxes[:, :1] - 3) & (across <= boxes[:, 2:3] + 3)
        bare = across[~inside.any(0)]
        for k, box in enumerate(boxes):
            # where nothing lies over this bar: no later bar, no plumb line, no letter
            own = (across > box[0] + 2) & (across < box[2] - 2) & ~inside[k + 1 :].any(0)
            for letter in picture.letters:
                own &= abs(across - letter.x) > 8
            if table.selected >= 0:
                with hands.inside("DOPESHEET_EDITOR"):
                    hangs = bpy.context.region.view2d.view_to_region(table.worst[table.selected], 0, clip=False)[0]
                own &= abs(across - hangs) > 6
            if not own.any():
                continue
            x = int(across[own][own.sum() // 2])
            beside = int(bare[np.argmin(abs(bare - x))])
            y = region.y + round(box[3]) - 2
            fills = pixels[y, region.x + x : region.x + x + 1]
            if table.trial[picture.who[k]]:  # it is hatched: its stripes are what is seen, one every five pixels
                first = max(min(x, int(box[2]) - 6), int(box[0]))
                fills = pixels[y, region.x + first : region.x + min(first + 6, int(box[2]))]
            least = min(least, max(hands.contrast(fill, pixels[y, region.x + beside]) for fill in fills))
        assert least < 99.0
        assert least >= 3.0, f"marks at rest have a contrast of {least:.2f} in {name}"
        hands.say(f"marks at rest: contrast at least {least:.1f} in {Path(name).stem.replace('_', ' ')}")
    hands.theme("Blender_Dark.xml")
    yield 0.5


def other_windows_and_views() -> Iterator[float]:
    note = hands.go_to("overextension")
    hands.near(note, 2.6)
    space = hands.area("VIEW_3D").spaces.active
    space.show_region_ui = False  # it would cover half of two views
    yield 0.5
    with hands.inside():
        bpy.ops.screen.region_quadview()
    yield 1.0
    hands.picture("evidence-quad", hands.around("VIEW_3D"), percent=66)
    with hands.inside():
        bpy.ops.screen.region_quadview()
    space.show_region_ui = True
    yield 0.5
    ghosts = hands.module("drawing.ghosts")
    ghosts.let_go()
    with hands.inside():
        bpy.ops.wm.window_new()
    yield 1.5
    assert len(bpy.context.window_manager.windows) == 2
    areas = {a.type: a for a in bpy.context.window_manager.windows[1].screen.areas}
    other = next(r for r in areas["VIEW_3D"].regions if r.type == "WINDOW")
    assert other.as_pointer() in ghosts._drawn, "the second window's view shows no evidence"
    with bpy.context.temp_override(window=bpy.context.window_manager.windows[1]):
        bpy.ops.wm.window_close()
    yield 0.5
    hands.say("drawn in four views and in a second window")


def large_small_and_foreign() -> Iterator[float]:
    preferences = bpy.context.preferences
    for scale in (2.0, 1.0):
        preferences.view.ui_scale = scale
        yield 1.5
        _, picture = bars()
        tallest = max(box[3] - box[1] for box in picture.hits)
        unit = preferences.system.ui_scale
        assert abs(tallest - 5 * unit) < 0.1 or abs(tallest - 8 * unit) < 0.1, f"bars {tallest} px at {unit}"
        if scale == 2.0:
            hands.picture("scale-2")
    for language in ("de_DE", "ja_JP"):
        preferences.view.language = language
        preferences.view.use_translate_interface = True
        yield 1.0
        hands.picture(f"language-{language}")
        yield from hands.check()
        assert len(hands.checked().notes) >= 5, f"the check found {len(hands.checked().notes)} notes in {language}"
    preferences.view.language = "en_US"
    yield 0.5
    hands.say("works at ui_scale 2, in German and in Japanese")


def five_hundred_notes() -> Iterator[float]:
    """What a redraw of the marks costs, and that nothing grows over many."""
    session, settings = hands.module("session"), hands.module("settings")
    strips = hands.module("drawing.strips")
    kept = hands.checked()
    rng = np.random.default_rng(3)
    notes = []
    for k in range(500):
        note = kept.notes[k % len(kept.notes)]
        start = int(rng.integers(1, 180))
        severity = type(note.severity)("high" if k % 12 == 0 else "medium" if k % 2 else "low")
        notes.append(replace(note, start=start, worst=start + 2, end=start + 9, severity=severity))
    session.keep(hands.scene(), session.Checked(shot=kept.shot, result=replace(kept.result, notes=tuple(notes))))
    settings.fill_rows(hands.scene())
    yield 1.5
    table, picture = bars()
    assert len(table.notes) == 500 and len(picture.hits) >= 42, f"{len(picture.hits)} bars of {len(table.notes)} notes"
    hands.picture("marks-500", timeline_box())
    built = np.zeros(2 * REDRAWS)  # made beforehand: what is kept here must not count as growth
    calls = 0
    draw, build = strips._draw, strips._build

    def timed_build(context: Any) -> Any:
        nonlocal calls
        start = time.thread_time()
        out = build(context)
        built[calls % len(built)] = time.thread_time() - start
        calls += 1
        return out

    strips._build = timed_build
    region = hands.region("DOPESHEET_EDITOR", "WINDOW")
    tracemalloc.start()
    with hands.inside("DOPESHEET_EDITOR"):
        for k in range(REDRAWS):
            if k == REDRAWS // 4:
                before = tracemalloc.get_traced_memory()[0]
            region.tag_redraw()
            bpy.ops.wm.redraw_timer(type="DRAW", iterations=1)
    grown = tracemalloc.get_traced_memory()[0] - before
    tracemalloc.stop()
    strips._build = build
    assert draw is strips._draw and calls >= REDRAWS // 2
    typical = float(np.median(built[: min(calls, len(built))])) * 1000
    with hands.inside("DOPESHEET_EDITOR"):
        first = []
        for _ in range(60):
            strips._built.clear()
            start = time.thread_time()  # as long on a busy machine
            made = build(bpy.context)
            hands.module("drawing.brush").Triangles(*made.picture.arrays())
            first.append((time.thread_time() - start) * 1000)
    ghosts, pins = hands.module("drawing.ghosts"), []
    hands.scene().frame_set(90)
    view = hands.area("VIEW_3D").spaces.active.region_3d
    with hands.inside(), bpy.context.temp_override(region_data=view):
        for _ in range(60):
            ghosts._drawn.clear()
            start = time.thread_time()
            made = ghosts._make(bpy.context)
            pins.append((time.thread_time() - start) * 1000)
    on = sum(n.start <= 90 <= n.end for n in notes)
    hands.say(f"500 notes: pins of {on} in frame 90 {statistics.median(pins):.2f} ms where the 3D view moved")
    moved = statistics.median(first)
    hands.say(
        f"500 notes: {typical:.2f} ms of ours a redraw, {moved:.2f} ms where the view moved "
        f"({min(first):.2f} at the least)"
    )
    hands.say(f"memory over {REDRAWS * 3 // 4} redraws: {grown / 1024:+.0f} KB")
    assert typical < 1.0 and grown < 200_000
    assert moved < 1.0, "a redraw in which the view moves costs more than it may"
    session.keep(hands.scene(), kept)
    settings.fill_rows(hands.scene())


def steps() -> Iterator[float]:
    hands.install()
    yield from hands.open_shot()
    yield from hands.check()
    found = sorted(n.check for n in hands.checked().notes)
    assert found == FOUND, found
    catalogue = hands.core("catalogue").catalogue()
    decided = sorted(n.check for n in hands.checked().notes if not n.trial)
    assert decided == [name for name in FOUND if not catalogue[name].trial], decided
    hands.say(f"{len(hands.checked().notes)} notes, {len(decided)} of them not on trial")
    yield 0.5
    yield from marks_answer_the_mouse()
    yield from evidence_lies_where_blender_shows_it()
    yield from pictures_of_evidence()
    yield from marks_stand_out()
    yield from other_windows_and_views()
    yield from large_small_and_foreign()
    yield from five_hundred_notes()


hands.drive(steps())
