# SPDX-License-Identifier: GPL-3.0-or-later
"""Joint centers from markers, and the rigid bodies that clusters of markers are."""

from collections.abc import Iterable
from pathlib import Path

import numpy as np
from plumbline.core.numeric import rotation as rot

Array = np.ndarray


def fitted(template: Array, places: Array) -> tuple[Array, Array]:
    """Rotations (T, 3, 3) and shifts (T, 3) that carry a template (M, 3) nearest to places (T, M, 3)."""
    middle = places.mean(1)
    centered = template - template.mean(0)
    u, _, vt = np.linalg.svd(np.einsum("tmi,mj->tij", places - middle[:, None], centered))
    flip = np.ones((len(places), 3))
    flip[:, 2] = np.linalg.det(u @ vt)
    turn = (u * flip[:, None]) @ vt
    return turn, middle - turn @ template.mean(0)


def carried(template: Array, place: Array, markers: Array) -> Array:
    """Where a place (3,) beside a template goes, (T, 3)."""
    turn, shift = fitted(template, markers)
    return turn @ place + shift


def joints_by_laboratory(given: dict[str, Array]) -> dict[str, Array]:
    return {name: rows for name, rows in given.items() if name != "mass_center"}


def middle(places: dict[str, Array], *names: str) -> Array:
    return np.mean([places[n] for n in names], axis=0)


def joints_of_one_person(places: dict[str, Array], folder: Path) -> dict[str, Array]:
    """Knees and ankles lie between markers of which the inner ones were worn in the standing trial alone."""
    with np.load(folder / "quiet_standing_two_plates.npz") as data:
        still = {str(m): data["markers"][:, k].astype(float).mean(0) for k, m in enumerate(data["marker_names"])}
    out = {}
    for s, p in (("L", "L"), ("R", "r")):
        shank = [m for m in (f"{p}_knee", f"{p}_ankle", f"{p}_sh2", f"{p}_sh3", f"{p}_shank_antsup") if m in places]
        now = np.stack([places[m] for m in shank], 1)
        template = np.stack([still[m] for m in shank])
        inner = {joint: still[f"{p}_m{joint}"] for joint in ("knee", "ankle")}
        out[f"hip.{s}"] = places[f"{s}_HJC"]
        for joint, marker in inner.items():
            out[f"{joint}.{s}"] = carried(template, (still[f"{p}_{joint}"] + marker) / 2, now)
        out[f"shoulder.{s}"] = places[f"{s}_Shoulder"] - (0, 0, 0.05)
        out[f"elbow.{s}"] = middle(places, f"{s}_elbow_lat", f"{s}_elbow_med")
        out[f"wrist.{s}"] = middle(places, f"{s}_wrist_radius", f"{s}_wrist_ulna")
    out["thorax"] = (places["C7"] + middle(places, "L_Sternum", "R_Sternum")) / 2
    return out


def _hips(places: dict[str, Array], left: str, right: str, back: Iterable[str]) -> dict[str, Array]:
    """Hip centers from the front and back of the pelvis: 30 % of its width down, 19 % back, 36 % aside (Bell 1990, J
    Biomech 23:617-621)."""
    front = (places[left] + places[right]) / 2
    wide = np.linalg.norm(places[left] - places[right], axis=-1)
    aside = rot.unit(places[left] - places[right])
    ahead = rot.unit(rot.square_to(front - middle(places, *back), aside))
    up = rot.cross(ahead, aside)
    size = float(np.median(wide))
    return {f"hip.{s}": front - 0.19 * size * ahead - 0.30 * size * up + sign * 0.36 * size * aside
            for s, sign in (("L", 1.0), ("R", -1.0))}


def joints_of_legs(places: dict[str, Array]) -> dict[str, Array]:
    out = _hips(places, "L.ASIS", "R.ASIS", ("L.PSIS", "R.PSIS"))
    for s in "LR":
        out[f"knee.{s}"] = middle(places, f"{s}.Knee", f"{s}.Knee.Medial")
        out[f"ankle.{s}"] = middle(places, f"{s}.Ankle", f"{s}.Ankle.Medial")
    return out
