# SPDX-License-Identifier: GPL-3.0-or-later
"""The extension in real Blender: installed by Blender's own operator, enabled, disabled, and gone without a trace."""
import os
import stat
import sys
import zipfile
from collections.abc import Iterator
from pathlib import Path

import addon_utils
import bpy
import pytest

MODULE = "bl_ext.user_default.plumbline"


@pytest.fixture
def installed(extension_zip: Path) -> Iterator[str]:
    """The extension installed and enabled; taken out again afterwards."""
    assert bpy.ops.extensions.package_install_files(
        filepath=str(extension_zip), repo="user_default", enable_on_install=True) == {"FINISHED"}
    yield MODULE
    if MODULE in bpy.context.preferences.addons:
        bpy.ops.preferences.addon_disable(module=MODULE)
    for name in [name for name in sys.modules if name.startswith(MODULE)]:
        del sys.modules[name]


def traces() -> dict[str, object]:
    """All that an add-on could leave behind in Blender."""
    handlers = {name: len(found) for name in dir(bpy.app.handlers)
                if isinstance(found := getattr(bpy.app.handlers, name), list)}
    config = bpy.context.window_manager.keyconfigs.addon
    keys = sum(len(keymap.keymap_items) for keymap in config.keymaps) if config else 0
    types = {cls.__name__ for base in (bpy.types.Operator, bpy.types.Panel, bpy.types.Menu, bpy.types.UIList,
                                       bpy.types.PropertyGroup, bpy.types.AddonPreferences, bpy.types.Header)
             for cls in base.__subclasses__() if "plumbline" in cls.__module__ and cls.is_registered}
    properties = {f"{owner.__name__}.{name}" for owner in (
        bpy.types.Scene, bpy.types.Object, bpy.types.WindowManager, bpy.types.Armature, bpy.types.Bone)
        for name in owner.bl_rna.properties.keys() if "plumbline" in name}  # noqa: SIM118
    menus = {name: [draw.__qualname__ for draw in getattr(cls.draw, "_draw_funcs", ())
                    if "plumbline" in draw.__module__]
             for name in dir(bpy.types) if "_MT_" in name or "_HT_" in name
             if hasattr(cls := getattr(bpy.types, name), "draw")}
    return {"handlers": handlers, "keys": keys, "types": types, "properties": properties,
            "menus": {name: drawn for name, drawn in menus.items() if drawn},
            "operators": {name for name in dir(bpy.ops) if "plumbline" in name},
            "scenes": [scene.name for scene in bpy.data.scenes]}


def test_installs_enables_and_disables(installed: str) -> None:
    assert installed in bpy.context.preferences.addons
    assert addon_utils.check(installed) == (True, True)
    assert bpy.ops.preferences.addon_disable(module=installed) == {"FINISHED"}
    assert installed not in bpy.context.preferences.addons


def test_no_policy_warning(installed: str) -> None:
    addon_utils._is_first_reset()
    assert addon_utils._extensions_warnings_get() == {}


def test_hundred_cycles_leave_nothing_behind(installed: str) -> None:
    """Compared with Blender before the first cycle, so that what one cycle leaks is seen too."""
    bpy.ops.preferences.addon_disable(module=installed)
    before = traces()
    modules = {name for name in sys.modules if "plumbline" in name}
    module = sys.modules[installed]
    during = []
    for _ in range(100):
        module.register()
        during.append(traces())
        module.unregister()
        assert traces() == before
    assert all(seen == during[0] for seen in during)
    assert {name for name in sys.modules if "plumbline" in name} == modules
    registration = sys.modules[f"{installed}.blender_addon.registration"]
    assert (during[0] != before) == bool(registration.CLASSES), "the traces do not see what is registered"


def test_failure_half_way_leaves_nothing_behind(installed: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whichever class Blender refuses, those before it are taken out again, and the next try succeeds."""
    bpy.ops.preferences.addon_disable(module=installed)
    before = traces()
    module = sys.modules[installed]
    register_class = bpy.utils.register_class
    for refused in range(len(sys.modules[f"{installed}.blender_addon.registration"].CLASSES)):
        calls = iter(range(refused))

        def refuse(cls: type, calls: Iterator[int] = calls) -> None:
            if next(calls, None) is None:
                raise ValueError("refused")
            register_class(cls)

        monkeypatch.setattr(bpy.utils, "register_class", refuse)
        with pytest.raises(ValueError, match="refused"):
            module.register()
        monkeypatch.undo()
        assert traces() == before
    module.register()
    module.unregister()
    assert traces() == before


def test_works_from_a_place_that_cannot_be_written(extension_zip: Path, tmp_path: Path) -> None:
    """An extension may lie in a system folder: nothing is written beside its files."""
    folder = tmp_path / "plumbline"
    with zipfile.ZipFile(extension_zip) as archive:
        archive.extractall(folder)
    places = [folder, *folder.rglob("*")]
    for place in places:
        place.chmod(place.stat().st_mode & ~(stat.S_IWUSR | stat.S_IWGRP | stat.S_IWOTH))
    repository = bpy.context.preferences.extensions.repos.new(
        name="read only", module="read_only", custom_directory=str(tmp_path))
    was, sys.dont_write_bytecode = sys.dont_write_bytecode, True  # root may write anyway, so the files are compared
    before = sorted(str(path) for path in tmp_path.rglob("*"))
    module = "bl_ext.read_only.plumbline"
    try:
        assert bpy.ops.preferences.addon_enable(module=module) == {"FINISHED"}
        assert addon_utils.check(module)[1]
        assert bpy.ops.preferences.addon_disable(module=module) == {"FINISHED"}
        assert [path for path in sorted(map(str, tmp_path.rglob("*"))) if path not in before
                and os.sep + "plumbline" + os.sep in path] == []
    finally:
        sys.dont_write_bytecode = was
        for place in places:
            place.chmod(place.stat().st_mode | stat.S_IWUSR)
        bpy.context.preferences.extensions.repos.remove(repository)
