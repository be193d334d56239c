# SPDX-License-Identifier: GPL-3.0-or-later
"""Which bones a person keys to move the goal and the pole of a limb: what they hang on, up to where the body begins."""

from typing import Any

#: Bones that are looked at for one limb at the most; rigs are deep but not endless.
MOST = 64


def controls_of(constraint: Any, owner: Any, links: list[Any]) -> tuple[str, ...]:
    """Owners ('Rig/bone', or 'Object') that move the target or the pole of an IK constraint.

    owner: the armature object of the constraint; links: the pose bones of its chain. A control is the target itself,
    what it hangs on and what its constraints follow. What the chain itself hangs on moves the whole body, not the
    goal alone, so it is none.
    """
    body = {(owner.session_uid, link.name) for link in links}
    body |= {(owner.session_uid, above.name) for link in links for above in link.parent_recursive}
    waiting = [
        (constraint.target, constraint.subtarget),
        (constraint.pole_target, constraint.pole_subtarget),
    ]
    found: dict[tuple[int, str], str] = {}
    while waiting and len(found) < MOST:
        object, name = waiting.pop(0)
        if object is None:
            continue
        bone = object.pose.bones.get(name) if name and object.pose is not None else None
        key = (object.session_uid, bone.name if bone is not None else "")
        if key in found or key in body or (bone is None and object == owner):
            continue
        found[key] = f"{object.name}/{bone.name}" if bone is not None else object.name
        if bone is None:
            waiting.append((object.parent, object.parent_bone if object.parent_type == "BONE" else ""))
        elif bone.parent is not None:
            waiting.append((object, bone.parent.name))
        for other in (bone if bone is not None else object).constraints:
            waiting += _followed(other)
    return tuple(found.values())


def _followed(constraint: Any) -> list[tuple[Any, str]]:
    if constraint.mute or constraint.influence <= 0.0:
        return []
    if constraint.type == "ARMATURE":
        return [(target.target, target.subtarget) for target in constraint.targets]
    return [(getattr(constraint, "target", None), getattr(constraint, "subtarget", ""))]
