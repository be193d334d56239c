# SPDX-License-Identifier: GPL-3.0-or-later
"""Trials with force plates as Shots: markers made into a figure with soles, and what the plates say of its contacts.

Read from a folder of trials outside the repository, as their own SOURCE.md tells them: ``NAME.npz`` with
``NAME_contacts.json``, and a walk on a treadmill as ``*.trc`` beside ``*_grf.mot`` and ``*.npz``. Everything comes out
in meters, seconds, newtons, Z up, the floor at zero.
"""

import json
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path

import numpy as np
from plumbline.core.numeric import rotation as rot
from plumbline.core.numeric.between import between
from plumbline.core.shot import GRAVITY, Character, Shot, Sole

from .plate_joints import fitted, joints_by_laboratory, joints_of_legs, joints_of_one_person, middle

Array = np.ndarray
THRESHOLD = 20.0  # N: a plate that bears more is stood on
TRIALS = (
    *(f"quarter_turn_{k}" for k in "abcde"),
    *("quiet_standing_one_plate", "quiet_standing_two_plates", "sit_to_stand", "drop_jump_uneven", "walk_four_plates"),
)
TREADMILL = "treadmill_walk"


@dataclass(frozen=True)
class Load:
    """One load of a foot ('L', 'R' or 'both') on a plate. on, off: s, None outside the trial; whether each can be
    trusted; why not."""

    foot: str
    plate: int
    on: float | None
    off: float | None
    on_usable: bool
    off_usable: bool
    why_not: tuple[str, ...] = ()

    @property
    def whole(self) -> bool:
        return self.on_usable and self.off_usable


@dataclass(frozen=True)
class Trial:
    """times (T,); places: marker or joint center -> (T, 3); feet: side -> its template, see ``Foot``; plate_times (N,),
    plate_force, plate_point (plates, N, 3), force on the person; mass kg; center: the laboratory's own center of mass
    (T, 3) where it told one. belt (3,) m/s: how the ground moves."""

    name: str
    times: Array
    places: dict[str, Array]
    joints: dict[str, Array]
    feet: dict[str, "Foot"]
    plate_times: Array
    plate_force: Array
    plate_point: Array
    mass: float
    loads: tuple[Load, ...]
    center: Array | None = None
    belt: Array = field(default_factory=lambda: np.zeros(3))
    #: (side, 'on' or 'off', s): steps that the laboratory marked in its file, to 0.01 s; no plate proves them.
    marked: tuple[tuple[str, str, float], ...] = ()

    def events(self) -> list[tuple[str, str, float]]:
        """(side, 'on' or 'off', s): every trusted crossing of 20 N."""
        out = []
        for load in self.loads:
            if load.foot in ("L", "R"):
                if load.on_usable and load.on is not None:
                    out.append((load.foot, "on", load.on))
                if load.off_usable and load.off is not None:
                    out.append((load.foot, "off", load.off))
        return sorted(out, key=lambda e: e[2])

    def sampled(self, fps: float, phase: float = 0.0) -> tuple[Shot, Array]:
        """The trial as a Shot at ``fps``, its first sample ``phase`` of a frame after the first marker frame, and the
        trial's own time (F,) of every sample."""
        rate = (len(self.times) - 1) / (self.times[-1] - self.times[0])
        now = np.arange(self.times[0] + phase / fps, self.times[-1] + 1e-9, 1 / fps)
        at = (now - self.times[0]) * rate

        def read(rows: Array) -> Array:
            return between(rows, at)

        return figure(self, read, len(now), fps), now


@dataclass(frozen=True)
class Foot:
    """A foot's template: names and places (M, 3) of its rigid markers as it stands flat, heading along +X, the floor at
    Z = 0 and the ankle over the origin; ankle height; sole (7, 3) in the order of shot.SOLE_POINTS; toe: the marker on
    its toes, '' where there is none, and where that is in the template."""

    markers: tuple[str, ...]
    places: Array
    ankle: Array
    sole: Array
    toe: str
    toe_place: Array


# ---- feet ----------------------------------------------------------------------------------------------------------


def _filled(rows: Array) -> Array:
    """Gaps (NaN) of a marker (T, 3) closed by straight lines."""
    good = np.flatnonzero(np.isfinite(rows).all(1))
    if len(good) == len(rows) or not len(good):
        return rows
    return np.stack([np.interp(np.arange(len(rows)), good, rows[good, k]) for k in range(3)], 1)


def _foot(places: dict[str, Array], names: dict[str, str], ankle: Array, belt: Array, rate: float) -> Foot:
    """The template of one foot. names: role -> marker: heel, outer (of the ball), ball and inner, of which one may be
    lacking, tip (on the toes, may be lacking), and anything else that is rigid in the foot."""
    rigid = [m for role, m in names.items() if role != "tip"]
    markers = np.stack([places[m] for m in rigid], 1)
    # as it stands: slow over the ground, and all markers low
    speed = np.linalg.norm(np.gradient(markers, axis=0) * rate - belt, axis=-1).max(1)
    height = (markers[..., 2] - np.quantile(markers[..., 2], 0.1, axis=0)).clip(0).max(1)
    flat = int((speed / 0.3 + height / 0.01).argmin())
    turn, shift = fitted(markers[flat], markers)
    shape = np.einsum("tji,tmj->tmi", turn, markers - shift[:, None]).mean(0)
    at = {role: shape[rigid.index(m)] for role, m in names.items() if role != "tip"}
    at.setdefault("ball", (at["outer"] + at.get("inner", at["outer"])) / 2)
    tip = names.get("tip", "")
    own = np.einsum("tji,tj->ti", turn, places[tip] - shift) if tip else None
    low = np.median(np.einsum("tji,tj->ti", turn, ankle - shift), 0)
    # the toes lie flat where they are bent least, near the flat pose
    end = own[flat] if own is not None else None
    ahead = (at["ball"] - at["heel"]) * (1, 1, 0)
    length = float(np.linalg.norm(ahead))
    ahead /= length
    left = np.array([-ahead[1], ahead[0], 0.0])
    origin = low * (1, 1, 0)
    basis = np.stack([ahead, left, [0.0, 0, 1]])
    place = {role: basis @ (p - origin) for role, p in at.items()}
    ball = place["ball"]
    half_ball = abs(place["outer"][1] - ball[1])
    outer = 1.0 if place["outer"][1] > ball[1] else -1.0  # the outer side in template coordinates
    inner = place.get("inner", ball + (0, -outer * half_ball, 0))
    toe = basis @ (end - origin) if end is not None else ball + (0.6 * length / 1.45, 0, 0)
    heel = place["heel"] + (0.01, 0, 0)  # the marker's own radius behind the skin
    half_heel = 0.12 / 0.19 * max(half_ball, 0.03)
    middle = (inner + place["outer"]) / 2
    middle = np.array([ball[0], middle[1], 0])
    down = np.array([1.0, 1, 0])
    sole = np.array([
        heel * down, heel * down + (0, -outer * half_heel, 0), heel * down + (0, outer * half_heel, 0),
        middle, inner * down, place["outer"] * down, toe * down + (0.02, 0, 0),
    ])
    return Foot(tuple(rigid), (shape - origin) @ basis.T, basis @ (low - origin), sole, tip, toe)


# ---- the figure ------------------------------------------------------------------------------------------------------


def figure(trial: Trial, read, count: int, fps: float) -> Shot:  # type: ignore[no-untyped-def]
    """A Shot from the trial's joints and markers, ``read`` at ``count`` samples. Its rest stands upright, facing +X."""
    joints = {name: read(rows) for name, rows in trial.joints.items()}
    heads: dict[str, Array] = {}
    tails: dict[str, Array] = {}
    axes: dict[str, Array] = {}
    rest: dict[str, tuple[Array, Array]] = {}
    soles = []

    def mean(a: str, b: str) -> float:
        return float(np.median(np.linalg.norm(trial.joints[b] - trial.joints[a], axis=-1)))

    across = joints["hip.L"] - joints["hip.R"]
    half = mean("hip.R", "hip.L") / 2
    leg = np.mean([mean(f"hip.{s}", f"knee.{s}") + mean(f"knee.{s}", f"ankle.{s}") for s in "LR"])
    ground = np.mean([foot.ankle[2] for foot in trial.feet.values()])
    hip_height = leg + ground

    def bone(part: str, head: Array, tail: Array, rest_head: Array, rest_tail: Array) -> None:
        """Y along the bone, Z as near to the figure's right as may be; a bone at rest is given the same letters."""
        heads[part], tails[part] = head, tail
        rest[part] = rest_head, rest_tail
        axes[part] = rot.frame(-across, tail - head)

    middle = (joints["hip.L"] + joints["hip.R"]) / 2
    zero, up = np.array([0.0, 0, hip_height]), np.array([0.0, 0, 1])
    if "thorax" in joints:
        top = joints["thorax"]
        trunk = float(np.median(np.linalg.norm(top - middle, axis=-1)))
        bone("pelvis", middle, middle + 0.3 * (top - middle), zero, zero + 0.3 * trunk * up)
        bone("chest", middle + 0.3 * (top - middle), top, zero + 0.3 * trunk * up, zero + trunk * up)
        if "head" in joints:
            over = float(np.median(np.linalg.norm(joints["head"] - top, axis=-1)))
            bone("head", top, joints["head"], zero + trunk * up, zero + (trunk + over) * up)
    else:
        trunk = 0.55 * leg
        bone("pelvis", middle, middle + (0, 0, 0.15 * leg), zero, zero + 0.15 * leg * up)
    for s, sign in (("L", 1.0), ("R", -1.0)):
        aside = np.array([0.0, sign * half, 0])
        thigh, shin = mean(f"hip.{s}", f"knee.{s}"), mean(f"knee.{s}", f"ankle.{s}")
        hip = aside + up * (ground + thigh + shin)
        bone(f"thigh.{s}", joints[f"hip.{s}"], joints[f"knee.{s}"], hip, hip - thigh * up)
        bone(f"shin.{s}", joints[f"knee.{s}"], joints[f"ankle.{s}"], hip - thigh * up, hip - (thigh + shin) * up)
        _lay_foot(trial, s, aside, read, heads, tails, axes, rest)
        soles.append(Sole(s, trial.feet[s].sole + aside, "card"))
        if f"wrist.{s}" in joints:
            arm, fore = mean(f"shoulder.{s}", f"elbow.{s}"), mean(f"elbow.{s}", f"wrist.{s}")
            wide = mean("shoulder.R", "shoulder.L") / 2
            top = zero + (0, sign * wide, trunk)
            elbow, wrist = top - arm * up, top - (arm + fore) * up
            bone(f"upper_arm.{s}", joints[f"shoulder.{s}"], joints[f"elbow.{s}"], top, elbow)
            bone(f"forearm.{s}", joints[f"elbow.{s}"], joints[f"wrist.{s}"], elbow, wrist)
            out = joints[f"wrist.{s}"] - joints[f"elbow.{s}"]
            bone(f"hand.{s}", joints[f"wrist.{s}"], joints[f"wrist.{s}"] + 0.7 * out, wrist, wrist - 0.7 * fore * up)
    parts = tuple(heads)
    rest_axes = [np.eye(3) if p[:3] in ("foo", "toe") else rot.frame(np.array([0.0, -1, 0]), rest[p][1] - rest[p][0])
                 for p in parts]
    turned = np.stack([axes[p] for p in parts], 1)
    character = Character(
        name=trial.name, parts=parts, bones=parts,
        heads=np.stack([heads[p] for p in parts], 1), tails=np.stack([tails[p] for p in parts], 1),
        axes=turned, twist_axes=turned, rest_heads=np.stack([rest[p][0] for p in parts]),
        rest_tails=np.stack([rest[p][1] for p in parts]), rest_axes=np.stack(rest_axes),
        scale=np.ones(count), up=up, forward=np.array([1.0, 0, 0]), height=float(leg / 0.49), soles=tuple(soles),
        reasons=tuple("markers" for _ in parts),
    )
    return Shot(trial.name, np.arange(1.0, count + 1), fps, (character,), gravity=np.array([0.0, 0, -GRAVITY]))


def _lay_foot(  # type: ignore[no-untyped-def]
    trial: Trial, s: str, aside: Array, read, heads: dict[str, Array], tails: dict[str, Array],
    axes: dict[str, Array], rest: dict[str, tuple[Array, Array]],
) -> None:
    """Foot and toe of one side, rigid templates carried by their markers; at rest they have the world's axes."""
    foot = trial.feet[s]
    turn, shift = fitted(foot.places, np.stack([read(trial.places[m]) for m in foot.markers], 1))
    ball = foot.sole[3] + (0, 0, 0.02)
    knuckle = turn @ ball + shift
    heads[f"foot.{s}"], tails[f"foot.{s}"] = turn @ foot.ankle + shift, knuckle
    axes[f"foot.{s}"] = turn
    rest[f"foot.{s}"] = foot.ankle + aside, ball + aside
    if not foot.toe:
        return
    tip = read(trial.places[foot.toe])
    # the toes turn about the ball's own axis: the foot's frame, bent so that their marker lies where it does
    own = np.einsum("tji,tj->ti", turn, tip - knuckle)
    was = foot.toe_place - ball
    bend = np.arctan2(own[:, 2], own[:, 0]) - np.arctan2(was[2], was[0])
    zero = np.zeros_like(bend)
    heads[f"toe.{s}"], tails[f"toe.{s}"] = knuckle, tip
    axes[f"toe.{s}"] = turn @ rot.exp(np.stack([zero, -bend, zero], 1))
    rest[f"toe.{s}"] = ball + aside, foot.toe_place + aside


# ---- reading ---------------------------------------------------------------------------------------------------------


def trial(folder: Path, name: str) -> Trial:
    """A trial by its name, TREADMILL or one of TRIALS; folder: that which holds both data folders."""
    return _read(Path(folder).resolve(), name)


@cache
def _read(folder: Path, name: str) -> Trial:
    if name == TREADMILL:
        return _treadmill(folder / "walk_force_plates")
    folder = folder / "force_plates"
    with np.load(folder / f"{name}.npz") as data:
        known = {key: data[key] for key in data}
    places = {str(m): _filled(known["markers"][:, k].astype(float)) for k, m in enumerate(known["marker_names"])}
    given = {str(j): known["joints"][:, k].astype(float) for k, j in enumerate(known["joint_names"])}
    whole = json.loads((folder / f"{name}_contacts.json").read_text("utf-8"))
    told = whole["contacts"]
    marked = tuple((s["foot"], s["what"], float(s["t"])) for s in whole.get("steps_told_by_the_laboratory", ()))
    loads = tuple(Load(c["foot"], c["plate"], c["on"], c["off"], c["on_usable"], c["off_usable"], tuple(c["why_not"]))
                  for c in told)
    times = known["marker_time"]
    center = None
    if given:
        joints, roles = joints_by_laboratory(given), _ROLES_A
        center = given["mass_center"]
    elif "R.MT1" in places:
        joints, roles = joints_of_legs(places), _ROLES_C
    else:
        joints, roles = joints_of_one_person(places, folder), _ROLES_B
    return replace(_made(name, times, places, joints, roles, known, loads, center), marked=marked)


def _made(  # type: ignore[no-untyped-def]
    name: str, times: Array, places: dict[str, Array], joints: dict[str, Array], roles: dict[str, str],
    known, loads: tuple[Load, ...], center: Array | None = None, belt: Array | None = None,
) -> Trial:
    ground = np.zeros(3) if belt is None else belt
    rate = (len(times) - 1) / (times[-1] - times[0])
    feet = {}
    for s, prefix in (("L", "L"), ("R", "R")):
        names = {role: marker.format(S=prefix, s="L" if s == "L" else "r") for role, marker in roles.items()}
        names = {role: marker if marker in places else marker.replace("r_", "R_") for role, marker in names.items()}
        seen = {role: m for role, m in names.items() if m in places}
        feet[s] = _foot(places, seen, joints[f"ankle.{s}"], ground, rate)
    return Trial(name, times, places, joints, feet, known["plate_time"], known["plate_force"].astype(float),
                 known["plate_point"].astype(float), float(known["mass"]), loads, center, ground)


_ROLES_A = {"heel": "{S}HEE", "side": "{S}LCA", "ball": "{S}TOE", "outer": "{S}D5M", "arch": "{S}P1M", "tip": "{S}HLX"}
_ROLES_B = {"heel": "{s}_calc", "outer": "{s}_5meta", "ball": "{s}_toe", "side": "{s}_ankle"}
_ROLES_C = {"heel": "{S}.Heel", "ball": "{S}.MT2", "outer": "{S}.MT5", "inner": "{S}.MT1"}
_ROLES_D = {"heel": "{S}.Heel", "arch": "{S}.Midfoot.Sup", "outer": "{S}.Toe.Lat", "inner": "{S}.Toe.Med",
            "side": "{S}.Midfoot.Lat", "tip": "{S}.Toe.Tip"}


def _turned(rows: Array) -> Array:
    """x forward, y up, z right as x forward, y left, z up."""
    return np.stack([rows[..., 0], -rows[..., 2], rows[..., 1]], -1)


def _treadmill(folder: Path) -> Trial:
    lines = (folder / "subject01_walk1.trc").read_text("utf-8").splitlines()
    names = [n for n in lines[3].split("\t")[2:] if n.strip()]
    rows = np.array([[float(v) for v in line.split()] for line in lines[6:] if line.strip()])
    markers = _turned(rows[:, 2:].reshape(len(rows), -1, 3) / 1000.0)
    places = {n.strip(): markers[:, k] for k, n in enumerate(names)}
    mot = (folder / "subject01_walk1_grf.mot").read_text("utf-8").splitlines()
    table = np.array([[float(v) for v in line.split()] for line in mot[7:]])
    force = np.stack([_turned(table[:, 1 + 6 * k : 4 + 6 * k]) for k in (0, 1)])
    point = np.stack([_turned(table[:, 4 + 6 * k : 7 + 6 * k]) for k in (0, 1)])
    floor = float(np.median(point[..., 2]))
    with np.load(folder / "walk_force_plates.npz") as data:
        bodies = [str(b) for b in data["bodies"]]
        origin, now = _turned(data["origin"].astype(float)), data["time"]
        mass = float(data["mass"].sum())
    near = np.clip(np.rint((now - rows[0, 1]) * 60).astype(int), 0, len(rows) - 1)
    joints = {}
    for s, p in (("L", "l"), ("R", "r")):
        # joints of the published model, known for part of the walk, ride on the markers of the segment over them
        for joint, of, worn in (
            ("hip", "femur", ("R.ASIS", "L.ASIS", "V.Sacral")),
            ("knee", "tibia", tuple(f"{s}.Thigh.{w}" for w in ("Upper", "Front", "Rear"))),
            ("ankle", "talus", tuple(f"{s}.Shank.{w}" for w in ("Upper", "Front", "Rear"))),
        ):
            cluster = np.stack([places[m] for m in worn], 1)
            template = cluster[near[0]]
            turn, shift = fitted(template, cluster)
            k = bodies.index(f"{of}_{p}")
            own = np.einsum("tji,tj->ti", turn[near], origin[:, k] - shift[near]).mean(0)
            joints[f"{joint}.{s}"] = turn @ own + shift
        joints[f"shoulder.{s}"] = places[f"{s}.Acromium"] - (0, 0, 0.05)
        joints[f"elbow.{s}"] = places[f"{s}.Elbow"]
        joints[f"wrist.{s}"] = middle(places, f"{s}.Wrist.Med", f"{s}.Wrist.Lat")
    joints["thorax"] = middle(places, "L.Acromium", "R.Acromium")
    joints["head"] = places["Top.Head"]
    for rows_of in (places, joints):
        for n in rows_of:
            rows_of[n] = rows_of[n] - (0, 0, floor)
    known = {"plate_time": table[:, 0], "plate_force": force, "plate_point": point - (0, 0, floor), "mass": mass}
    loads = tuple(Load(f, k, *crossing, *(v is not None for v in crossing))
                  for k, f in ((0, "R"), (1, "L")) for crossing in crossings(table[:, 0], force[k, :, 2]))
    return _made(TREADMILL, rows[:, 1], places, joints, _ROLES_D, known, loads, None, np.array([-1.14, 0, 0]))


def crossings(times: Array, force: Array) -> list[tuple[float | None, float | None]]:
    """(on, off) of each load over THRESHOLD, s, interpolated; None at an end that the record cuts."""
    above = force > THRESHOLD
    change = np.flatnonzero(above[1:] != above[:-1])
    at = [float(times[i] + (THRESHOLD - force[i]) / (force[i + 1] - force[i]) * (times[i + 1] - times[i]))
          for i in change]
    out: list[tuple[float | None, float | None]] = []
    start: float | None = None
    standing = bool(above[0])
    for t in at:
        if standing:
            out.append((start, t))
        else:
            start = t
        standing = not standing
    if standing:
        out.append((start, None))
    return out
