# SPDX-License-Identifier: GPL-3.0-or-later
"""Hard use: undo after everything, workspaces, overlays, windows with scenes of their own, plates near edges, a
character that is renamed and deleted, playing."""

import hashlib
import importlib.util
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import bpy
import numpy as np

_spec: Any = importlib.util.spec_from_file_location("hands", Path(__file__).with_name("hands.py"))
hands: Any = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(hands)


def animation() -> str:
    """A fingerprint of all keys."""
    compat, out = hands.module("compat"), hashlib.blake2b()
    for thing in hands.scene().objects:
        for curve, _ in compat.curves_of(thing):
            out.update(f"{thing.name}{curve.data_path}{curve.array_index}".encode())
            for name in ("co", "handle_left", "handle_right"):
                flat = np.empty(len(curve.keyframe_points) * 2, np.float32)
                curve.keyframe_points.foreach_get(name, flat)
                out.update(flat.tobytes())
            for point in curve.keyframe_points:
                out.update(f"{point.interpolation}{point.handle_left_type}{point.handle_right_type}".encode())
    return out.hexdigest()


def step(name: str, **words: Any) -> None:
    with hands.inside():
        assert getattr(bpy.ops.plumbline, name)("EXEC_DEFAULT", True, **words) == {"FINISHED"}, name


def history(name: str) -> Iterator[float]:
    """Undo or redo, and the time in which Blender evaluates what it brought."""
    with hands.inside():
        getattr(bpy.ops.ed, name)()
    yield 0.6
    while hands.module("session").undoing or hands.module("session").job is not None:
        yield 0.1


def card() -> str:
    return str(hands.rig().get(hands.module("sampling.kept_cards").CARD_PROPERTY, ""))


def undo_after_everything() -> Iterator[float]:
    session = hands.module("session")
    before = animation()
    for check, remedy in (("slip", "pin_part"), ("linear-span", "ease_span")):
        hands.go_to(check)
        yield 0.3
        last = hands.checked()
        step(remedy)
        until = time.perf_counter() + 60
        while session.job is not None or hands.checked() is last:
            assert time.perf_counter() < until, f"no check followed {remedy}"
            yield 0.1
        after = animation()
        assert after != before, f"{remedy} changed no key"
        assert check not in {n.check for n in hands.checked().notes}, (
            f"{remedy} left its note: {[n.text for n in hands.checked().notes]}"
        )
        yield from history("undo")
        assert animation() == before, f"the undo of {remedy} left something"
        yield from history("redo")
        assert animation() == after, f"the redo of {remedy} is not what it was"
        yield from history("undo")
        yield from hands.check()
        yield 0.3
        assert check in {n.check for n in hands.checked().notes}, f"after the undo of {remedy} its note is found again"
    hands.say("remedies undone and redone: keys as before")
    note = hands.go_to("slip")
    number = hands.checked().notes.index(note)
    step("set_aside", number=number, reason="Ice")
    assert hands.checked().notes[number].set_aside == "Ice"
    yield from history("undo")
    assert hands.checked().notes[number].set_aside is None
    yield from history("redo")
    assert hands.checked().notes[number].set_aside == "Ice"
    yield from history("undo")
    name = hands.checked().shot.characters[0].name
    was = card()
    step("choose_bone", character=name, part="head", bone="neck")
    assert '"head"' in card()
    yield from history("undo")
    assert card() == was
    yield from history("redo")
    assert '"head"' in card()
    yield from history("undo")
    hands.say("set aside and a chosen bone undone and redone")


def every_workspace() -> Iterator[float]:
    window = hands.window()
    kept = window.workspace
    for workspace in bpy.data.workspaces:
        window.workspace = workspace
        yield 0.8
    window.workspace = kept
    yield 0.8
    hands.say(f"through {len(bpy.data.workspaces)} workspaces")


def overlays_off() -> Iterator[float]:
    hands.go_to("slip")
    ghosts, strips = hands.module("drawing.ghosts"), hands.module("drawing.strips")
    view, line = hands.area("VIEW_3D").spaces.active, hands.area("DOPESHEET_EDITOR").spaces.active
    for on in (False, True):
        view.overlay.show_overlays = on
        if hasattr(line, "overlays"):
            line.overlays.show_overlays = on
        yield 0.5
        with hands.inside(), bpy.context.temp_override(region_data=view.region_3d):
            assert (ghosts._make(bpy.context) is not None) == on
        if hasattr(line, "overlays"):
            with hands.inside("DOPESHEET_EDITOR"):
                assert (strips.picture(bpy.context) is not None) == on
    hands.say("the overlay switches switch evidence and marks")


def plates_near_edges() -> Iterator[float]:
    """The plate is whole in the part of the region that is seen, and covers no evidence where there is room."""
    preferences, view = bpy.context.preferences, hands.area("VIEW_3D").spaces.active.region_3d
    ghosts = hands.module("drawing.ghosts")
    cases, covered = 0, []
    for scale in (1.0, 2.0):
        preferences.view.ui_scale = scale
        yield 1.0
        for check in ("joint-limit", "slip", "overextension"):
            note = hands.go_to(check)
            hands.near(note, 6.0)
            middle = view.view_location.copy()
            turn = view.view_rotation
            for x, y in ((0, 0), (2.6, 0), (-2.6, 0), (0, 1.5), (0, -1.5), (2.4, 1.4), (-2.4, -1.4)):
                shift = turn @ type(middle)((x, y, 0))
                view.view_location = middle + shift
                yield 0.15
                plate, seen = hands.plate_and_evidence()
                with hands.inside(), bpy.context.temp_override(region_data=view):
                    left, top, right, bottom = ghosts._room(bpy.context)
                    height = bpy.context.region.height
                inside = plate[0] >= left and plate[2] <= right and plate[3] <= height - top
                assert inside and plate[1] >= height - bottom, f"{check} at {x}, {y}, scale {scale}: plate {plate}"
                overlap = np.minimum(plate[2:], seen[2:]) - np.maximum(plate[:2], seen[:2])
                cases += 1
                if (overlap > 0).all():
                    covered.append((check, x, y, scale))
                    hands.picture(f"look-covered-{len(covered)}", hands.around("VIEW_3D"))
    preferences.view.ui_scale = 1.0
    yield 0.8
    hands.say(f"plates in {cases} views near edges: all inside, evidence covered in {len(covered)}: {covered}")
    assert not covered


def timed(names: dict[str, tuple[Any, str]], spent: dict[str, list[float]]) -> list[tuple[Any, str, Any]]:
    """Puts a clock round functions of modules; returns what to put back."""
    kept = []
    for name, (owner, attribute) in names.items():
        function = getattr(owner, attribute)

        def clocked(*words: Any, _of: Any = function, _name: str = name, **more: Any) -> Any:
            start = time.perf_counter()
            try:
                return _of(*words, **more)
            finally:
                spent.setdefault(_name, []).append((time.perf_counter() - start) * 1000)

        kept.append((owner, attribute, function))
        setattr(owner, attribute, clocked)
    return kept


def played(seconds: float) -> Iterator[Any]:
    """Plays for so long, as fast as Blender can; the frames that it came by a second."""
    scene, passed = hands.scene(), []

    def count(*_: Any) -> None:
        passed.append(time.perf_counter())

    scene.frame_set(scene.frame_start)
    with hands.inside():
        bpy.ops.screen.animation_play()
    yield 1.0
    bpy.app.handlers.frame_change_post.append(count)
    yield seconds
    bpy.app.handlers.frame_change_post.remove(count)
    with hands.inside():
        bpy.ops.screen.animation_cancel(restore_frame=False)
    yield 0.3
    assert len(passed) > 2, "nothing was played"
    return (len(passed) - 1) / (passed[-1] - passed[0])


def playing() -> Iterator[float]:
    """What our handlers cost while the scene plays, and how many frames a second it plays, with notes shown and
    without, in turn."""
    modules = {"evidence": hands.module("drawing.ghosts"), "marks": hands.module("drawing.strips")}
    clocks = {"evidence": (modules["evidence"], "_make"), "marks": (modules["marks"], "_build")}
    scene, session, kept = hands.scene(), hands.module("session"), hands.checked()
    scene.render.fps, scene.sync_mode = 240, "NONE"  # no waiting, no frame left out
    hands.area("VIEW_3D").spaces.active.region_3d.view_perspective = "CAMERA"
    system = bpy.context.preferences.system
    smooth, system.viewport_aa = system.viewport_aa, "8"  # as people have it
    spent: dict[bool, dict[str, list[float]]] = {True: {}, False: {}}
    rates: dict[bool, list[float]] = {True: [], False: []}
    for shown in (True, False) * 4:
        if shown:
            session.keep(scene, kept)
            hands.module("settings").fill_rows(scene)
            hands.go_to("overextension")
        else:
            session.clear()
        yield 0.5
        back = timed(clocks, spent[shown])
        rates[shown].append((yield from played(4.0)))
        for owner, attribute, function in back:
            setattr(owner, attribute, function)
    scene.render.fps, scene.sync_mode = 24, "NONE"
    system.viewport_aa = smooth
    for shown, said in ((True, "shown"), (False, "none")):
        for name, each in spent[shown].items():
            middle, most = np.median(each), np.percentile(each, 95)
            hands.say(
                f"playing, notes {said}: {name} {middle:.3f} ms each of {len(each)} draws, 19 of 20 under {most:.2f} ms"
            )
            assert middle < (6.0 if shown else 0.25), name
    fast = {shown: float(np.median(each)) for shown, each in rates.items()}
    hands.say(
        f"playing: {fast[True]:.1f} frames a second with marks and evidence, {fast[False]:.1f} without (medians of "
        f"{', '.join(f'{r:.1f}' for r in rates[True])} and {', '.join(f'{r:.1f}' for r in rates[False])})"
    )
    assert fast[True] > 0.7 * fast[False], "notes hold playing up"
    session.keep(scene, kept)
    hands.module("settings").fill_rows(scene)


def far_away() -> Iterator[float]:
    scene = hands.scene()
    scene.frame_set(250_000)
    yield 0.5
    with hands.inside("DOPESHEET_EDITOR"):
        bpy.ops.action.view_frame()
    yield 0.5
    with hands.inside("DOPESHEET_EDITOR"):
        found = hands.module("drawing.strips").picture(bpy.context)
    assert found is not None and len(found[1].hits) == 0
    hands.go_to("slip")
    with hands.inside("DOPESHEET_EDITOR"):
        bpy.ops.action.view_all()
    yield 0.5
    hands.say("frames far away")


def two_windows_two_scenes() -> Iterator[float]:
    """Each window shows its own scene's marks, and neither has the other's built anew."""
    manager, strips = bpy.context.window_manager, hands.module("drawing.strips")
    other = hands.scene().copy()
    other.name = "Second"
    with hands.inside():
        bpy.ops.wm.window_new_main()
    yield 1.5
    second = manager.windows[1]
    second.scene = other
    yield 0.5
    first, session = hands.checked(), hands.module("session")
    session.keep(other, session.Checked(shot=first.shot, result=first.result))
    hands.module("settings").fill_rows(hands.scene())
    yield 0.5
    spent: dict[str, list[float]] = {}
    back = timed({"made": (hands.module("drawing.bars"), "rail")}, spent)
    for _ in range(6):
        for window in manager.windows:
            for place in window.screen.areas:
                place.tag_redraw()
        yield 0.2
    for owner, attribute, function in back:
        setattr(owner, attribute, function)
    hands.say(f"two windows with two scenes: marks built {len(spent.get('made', []))} times over 6 redraws of both")
    assert len(spent.get("made", [])) <= 3 and len(strips._built) >= 2
    with bpy.context.temp_override(window=second):
        bpy.ops.wm.window_close()
    yield 0.8
    bpy.data.scenes.remove(other)
    yield 0.5


def renamed_and_deleted() -> Iterator[float]:
    rig, session = hands.rig(), hands.module("session")
    name = rig.name
    rig.name = "Wärter"
    yield 0.5
    hands.go_to("joint-limit")
    assert bpy.context.view_layer.objects.active == rig, "a renamed character is found again"
    with hands.inside():
        print(
            "limit of a renamed character:",
            bpy.ops.plumbline.limit_from_pose(
                "EXEC_DEFAULT", True, character=name, angle="knee_hyperextension", part="shin.L"
            ),
        )
    yield 0.3
    with hands.inside():
        if bpy.context.mode != "OBJECT":
            bpy.ops.object.mode_set(mode="OBJECT")
        bpy.ops.object.select_all(action="DESELECT")
        rig.select_set(True)
        bpy.ops.object.delete()
        bpy.ops.ed.undo_push(message="deleted")
    yield 0.8
    assert session.edited(hands.scene()), "a deleted character leaves the notes as they were"
    hands.picture("look-deleted")
    for check in ("joint-limit", "slip", "linear-span"):
        hands.go_to(check)
        yield 0.2
        with hands.inside():
            for operator in ("select_keys", "pin_part", "ease_span"):
                if getattr(bpy.ops.plumbline, operator).poll():
                    getattr(bpy.ops.plumbline, operator)("EXEC_DEFAULT", True)
        yield 0.2
    hands.open_panels(
        ("PLUMBLINE_PT_card", "PLUMBLINE_PT_body_map", "PLUMBLINE_PT_joint_limits", "PLUMBLINE_PT_stretch")
    )
    yield from hands.settled()
    for _ in range(20):  # each note that was gone to is a step of its own
        if any(o.type == "ARMATURE" for o in hands.scene().objects):
            break
        yield from history("undo")
    yield from hands.settled()
    yield from hands.check()
    assert hands.checked().notes, hands.checked().why
    hands.say("a character renamed, deleted and brought back")


def steps() -> Iterator[float]:
    hands.install()
    yield from hands.open_shot()
    yield from hands.check()
    yield 0.5
    yield from undo_after_everything()
    yield from every_workspace()
    yield from overlays_off()
    yield from plates_near_edges()
    yield from playing()
    yield from far_away()
    yield from two_windows_two_scenes()
    yield from renamed_and_deleted()


hands.drive(steps())
