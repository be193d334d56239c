# SPDX-License-Identifier: GPL-3.0-or-later
"""What the sweep's temporary scene would show although the person's scene does not, or cannot show at all."""

from typing import Any

import bpy


def seen(scene: Any, render: bool = False) -> set[int]:
    """session_uid of the objects with a collection that some view layer includes and that viewports show.

    render: only collections that a render shows, too. An object's own hiding is not looked at.
    """
    found: set[int] = set()

    def walk(layer: Any) -> None:
        if layer.exclude or layer.collection.hide_viewport or (render and layer.collection.hide_render):
            return
        found.update(object.session_uid for object in layer.collection.objects)
        for inner in layer.children:
            walk(inner)

    for layer in scene.view_layers:
        walk(layer.layer_collection)
    return found


def idle(armature: Any) -> bool:
    """Whether nothing can move an armature object or its bones, and no mesh hangs on it: a template, such as Rigify's
    meta-rig beside the rig that was generated from it."""
    moved = (armature, armature.data)
    if any(thing is not None and thing.animation_data is not None for thing in moved):
        return False
    if armature.parent is not None or armature.constraints or any(bone.constraints for bone in armature.pose.bones):
        return False
    return not any(
        thing.parent == armature or any(getattr(m, "object", None) == armature for m in thing.modifiers)
        for thing in bpy.data.objects
        if thing.type == "MESH"
    )


def simulated(object: Any) -> bool:
    """Whether rigid-body simulation moves the object, or one that it is parented to."""
    while object is not None:
        body = object.rigid_body
        if body is not None and body.type == "ACTIVE" and not body.kinematic:
            return True
        object = object.parent
    return False
