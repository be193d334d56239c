# SPDX-License-Identifier: GPL-3.0-or-later
"""What the sweep's temporary scene would show although the person's scene does not, or cannot show at all."""

from typing import Any


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


def simulated(object: Any) -> bool:
    """Whether rigid-body simulation moves the object, or one that it is parented to."""
    while object is not None:
        body = object.rigid_body
        if body is not None and body.type == "ACTIVE" and not body.kinematic:
            return True
        object = object.parent
    return False
