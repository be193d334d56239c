# SPDX-License-Identifier: GPL-3.0-or-later
"""People over force plates as Shots: joint centers from markers or models, and what the plates felt beside them.

Three layouts: a walk on a treadmill as bodies of a model with its markers beside it, the joints of a laboratory's
model, and bare markers, whose joint centers are made here: a joint with one marker lies inward of it by half a
breadth, from memory. World: z up, meters, seconds, newtons. What is read is never kept.
"""

import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from plumbline.core import body
from plumbline.core.numeric.rotation import cross, unit
from plumbline.core.shot import SOLE_POINTS, Character, Shot, Sole

Array = np.ndarray
Paths = dict[str, Array]

Z_UP = np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]])
#: Half breadths from a marker on the skin to the joint under it, m, from memory.
KNEE_IN, ANKLE_IN, SHOULDER_DOWN = 0.05, 0.035, 0.05
#: A foot whose heel and toe both go faster than this is in the air, whatever stands under it, m/s.
SWINGS = 0.5
#: From here a foot stands across a plate's edge, s: the plates then hold only part (SOURCE.md of the trials).
PARTIAL_FROM = {"quarter_turn_b": 1.95}
#: Loads under this are not told apart from nothing, N.
TOUCH = 20.0


@dataclass(frozen=True)
class Trial:
    """points: name -> (T, 3) m at ``times`` (T,) s, names as ``LAYOUT`` wants them; plate_times (N,); force (N, 3) N
    and
    point (N, 3) m of all plates together, whole (N,) bool: the plates hold all that the ground gives; mass kg; floor m;
    what: in words."""

    name: str
    times: Array
    points: Paths
    plate_times: Array
    force: Array
    point: Array
    whole: Array
    mass: float
    floor: float
    what: str

    def shot(self, fps: float, phase: float = 0.0) -> Shot:
        """The person at ``fps``, the first frame ``phase`` of a frame after the first marker frame."""
        times = np.arange(self.times[0] + phase / fps, self.times[-1] + 1e-9, 1.0 / fps)
        points = {name: smooth(self.times, path, times) for name, path in self.points.items()}
        return Shot(self.name, np.arange(len(times), dtype=float), fps, (person(self.name, points),),
                    gravity=np.array([0.0, 0.0, -9.80665]))

    def start(self, fps: float, phase: float) -> float:
        return float(self.times[0] + phase / fps)


def smooth(times: Array, path: Array, at: Array) -> Array:
    """A path (T, 3) at evenly spaced times, read at other times by the cubic of Catmull and Rom."""
    place = (at - times[0]) / (times[1] - times[0])
    last = len(times) - 1
    i = np.clip(np.floor(place).astype(int), 0, last - 1)
    t = (place - i)[:, None]
    a, b, c, d = (path[np.clip(i + k, 0, last)] for k in (-1, 0, 1, 2))
    return np.asarray(b + 0.5 * t * (c - a + t * (2 * a - 5 * b + 4 * c - d + t * (3 * (b - c) + d - a))))


def _axes(along: Array, right: Array) -> Array:
    """Bone axes (F, 3, 3) with y along the bone and x as near to the right as it can be."""
    y = unit(along)
    z = unit(cross(right, y))
    return np.stack([cross(y, z), y, z], -1)


def person(name: str, points: Paths) -> Character:
    """A Character from hip, knee, ankle, heel, toe, shoulder, elbow, wrist of both sides ('hip.L'), top and, where
    known,
    c7, finger of both sides. Rest is the first frame."""
    hips = (points["hip.L"] + points["hip.R"]) / 2
    shoulders = (points["shoulder.L"] + points["shoulder.R"]) / 2
    right = points["hip.R"] - points["hip.L"]
    chest_right = points["shoulder.R"] - points["shoulder.L"]
    c7 = points.get("c7", hips + 1.2 * (shoulders - hips))
    waist = hips + 0.35 * (shoulders - hips)
    bones = {
        "pelvis": (hips, waist, right),
        "chest": (waist, shoulders, chest_right),
        "neck": (c7, c7 + 0.3 * (points["top"] - c7), chest_right),
        "head": (c7 + 0.3 * (points["top"] - c7), points["top"], chest_right),
    }
    for s in body.SIDES:
        elbow, wrist = points[f"elbow.{s}"], points[f"wrist.{s}"]
        heel, toe, ankle = points[f"heel.{s}"], points[f"toe.{s}"], points[f"ankle.{s}"]
        tip = points.get(f"finger.{s}", wrist + 0.7 * (wrist - elbow))
        bones[f"upper_arm.{s}"] = (points[f"shoulder.{s}"], elbow, chest_right)
        bones[f"forearm.{s}"] = (elbow, wrist, chest_right)
        bones[f"hand.{s}"] = (wrist, tip, chest_right)
        bones[f"thigh.{s}"] = (points[f"hip.{s}"], points[f"knee.{s}"], right)
        bones[f"shin.{s}"] = (points[f"knee.{s}"], ankle, right)
        bones[f"foot.{s}"] = (ankle, ankle + (toe - heel), right)
    parts = tuple(p for p in body.PARTS if p in bones)
    heads, tails = (np.stack([bones[p][k] for p in parts], 1) for k in (0, 1))
    axes = np.stack([_axes(bones[p][1] - bones[p][0], bones[p][2]) for p in parts], 1)
    up = np.array([0.0, 0.0, 1.0])
    ahead = np.cross(up, right[0])
    soles = tuple(_sole(s, points[f"heel.{s}"][0], points[f"toe.{s}"][0], right[0]) for s in body.SIDES)
    leg = sum(float(np.linalg.norm(points[a][0] - points[b][0]))
              for a, b in (("hip.L", "knee.L"), ("knee.L", "ankle.L")))
    return Character(
        name=name, parts=parts, bones=parts, heads=heads, tails=tails, axes=axes, twist_axes=axes, rest_heads=heads[0],
        rest_tails=tails[0], rest_axes=axes[0], scale=np.ones(len(heads)), up=up,
        forward=-ahead / np.linalg.norm(ahead) if ahead @ (points["toe.L"][0] - points["heel.L"][0]) < 0
        else ahead / np.linalg.norm(ahead), height=leg / 0.47, soles=soles, reasons=("marked",) * len(parts))


def _sole(side: str, heel: Array, toe: Array, right: Array) -> Sole:
    """A sole about the line from heel to toe; only heel and toe tip matter for mass."""
    ahead = toe - heel
    outward = right / np.linalg.norm(right) * (1.0 if side == "R" else -1.0)
    length = float(np.linalg.norm(ahead))
    places = {"heel": heel, "ball": heel + 0.72 * ahead, "toe_tip": toe}
    for name, half in (("heel", 0.12), ("ball", 0.19)):
        places[f"{name}_inner"] = places[name] - half * length * outward
        places[f"{name}_outer"] = places[name] + half * length * outward
    return Sole(side, np.array([places[p] for p in SOLE_POINTS]), "mesh")


# ---- the walk on a treadmill -------------------------------------------------------------------------------

_BODIES = {"femur": "hip", "tibia": "knee", "talus": "ankle"}


def treadmill(folder: Path) -> Trial:
    """The walk of walk_force_plates: legs by the model's joints, the rest by its markers."""
    data = np.load(folder / "walk_force_plates.npz")
    times = data["time"]
    names = [str(n) for n in data["bodies"]]
    origin = data["origin"] @ Z_UP.T
    points = {f"{joint}.{s.upper()}": origin[:, names.index(f"{body_}_{s}")]
              for body_, joint in _BODIES.items() for s in "lr"}
    marker_times, markers = _trc(folder / "subject01_walk1.trc")
    at = {n: smooth(marker_times, path, times) for n, path in markers.items()}
    for s in "LR":
        points[f"shoulder.{s}"] = at[f"{s}.Acromium"] - [0, 0, SHOULDER_DOWN]
        points[f"elbow.{s}"] = at[f"{s}.Elbow"]
        points[f"wrist.{s}"] = (at[f"{s}.Wrist.Med"] + at[f"{s}.Wrist.Lat"]) / 2
        points[f"heel.{s}"], points[f"toe.{s}"] = at[f"{s}.Heel"], at[f"{s}.Toe.Tip"]
    points["top"] = at["Top.Head"]
    force, point = _together(data["plate_force"] @ Z_UP.T, data["plate_point"] @ Z_UP.T)
    return Trial("treadmill walk", times, points, data["plate_time"], force, point, np.ones(len(force), bool),
                 float(data["mass"].sum()), 0.0, "1.14 m/s, one person of 72.6 kg")


def _trc(path: Path) -> tuple[Array, Paths]:
    """Marker paths of a .trc file in mm, y up."""
    lines = path.read_text().splitlines()
    names = [n for n in lines[3].split("\t")[2:] if n.strip()]
    rows = np.array([[float(v) for v in line.split()] for line in lines[5:] if len(line.split()) > 2])
    places = rows[:, 2 : 2 + 3 * len(names)].reshape(len(rows), -1, 3) / 1000 @ Z_UP.T
    return rows[:, 1], {name.strip(): places[:, k] for k, name in enumerate(names)}


def _together(force: Array, point: Array) -> tuple[Array, Array]:
    """Forces (plates, N, 3) added, and the pressure point of all, NaN where nothing presses."""
    press = force[..., 2]
    total = press.sum(0)
    with np.errstate(invalid="ignore", divide="ignore"):
        middle = (press[..., None] * np.nan_to_num(point)).sum(0) / np.where(total > TOUCH, total, np.nan)[:, None]
    return force.sum(0), middle


# ---- the ten trials ----------------------------------------------------------------------------------------

#: Trials whose plates tell of the whole body; the four-plate walk has no markers above the pelvis, and the seat of
#: sit-to-stand is on no plate.
NAMES = ("quarter_turn_a", "quarter_turn_b", "quarter_turn_c", "quarter_turn_d", "quarter_turn_e",
         "quiet_standing_one_plate", "quiet_standing_two_plates", "drop_jump_uneven")


def trial(folder: Path, name: str) -> Trial:
    """One of the trials of force_plates."""
    data = np.load(folder / f"{name}.npz")
    told = json.loads((folder / f"{name}_contacts.json").read_text())
    times = data["marker_time"]
    markers = {str(n): _filled(times, data["markers"][:, k]) for k, n in enumerate(data["marker_names"])}
    joints = {str(n): data["joints"][:, k] for k, n in enumerate(data["joint_names"])}
    points = _modeled(joints, markers) if joints else _marked(markers)
    force, point = _together(data["plate_force"], data["plate_point"])
    whole = _whole(told, times, points, data["plate_time"])
    floor = 0.0 if joints else 0.006
    return Trial(name, times, points, data["plate_time"], force, point, whole, float(data["mass"]), floor,
                 str(told["what"]))


def _filled(times: Array, path: Array) -> Array:
    """A marker's path (T, 3) with what the cameras missed filled in straight."""
    seen = np.isfinite(path).all(1)
    return path if seen.all() else np.stack([np.interp(times, times[seen], path[seen, k]) for k in range(3)], 1)


def _modeled(joints: Paths, markers: Paths) -> Paths:
    """Joint centers by the laboratory's model, feet and head by markers."""
    points = {n: path for n, path in joints.items() if "." in n}
    for s in "LR":
        points[f"heel.{s}"], points[f"toe.{s}"] = markers[f"{s}HEE"], markers[f"{s}HLX"]
        points[f"finger.{s}"] = points[f"wrist.{s}"] + 1.9 * (markers[f"{s}FIN"] - points[f"wrist.{s}"])
    head = sum(markers[n] for n in ("LFHD", "RFHD", "LBHD", "RBHD")) / 4
    points["c7"] = markers["C7"]
    points["top"] = head + 0.45 * (head - markers["C7"])  # the band lies about two thirds of the way up
    return points


def _marked(markers: Paths) -> Paths:
    """Joint centers from markers on the skin."""
    points = {f"hip.{s}": markers[f"{s}_HJC"] for s in "LR"}
    inward = unit(points["hip.R"] - points["hip.L"])
    for s, small, sign in (("L", "L", 1.0), ("R", "r", -1.0)):
        points[f"knee.{s}"] = markers[f"{small}_knee"] + sign * KNEE_IN * inward
        points[f"ankle.{s}"] = markers[f"{small}_ankle"] + sign * ANKLE_IN * inward
        points[f"heel.{s}"], points[f"toe.{s}"] = markers[f"{small}_calc"], markers[f"{small}_toe"]
        points[f"shoulder.{s}"] = markers[f"{s}_Shoulder"]
        points[f"elbow.{s}"] = (markers[f"{s}_elbow_lat"] + markers[f"{s}_elbow_med"]) / 2
        points[f"wrist.{s}"] = (markers[f"{s}_wrist_radius"] + markers[f"{s}_wrist_ulna"]) / 2
    middle = (points["shoulder.L"] + points["shoulder.R"]) / 2
    hips = (points["hip.L"] + points["hip.R"]) / 2
    trunk = unit(middle - hips)
    for s in "LR":
        points[f"shoulder.{s}"] = points[f"shoulder.{s}"] - SHOULDER_DOWN * trunk
    points["c7"] = markers["C7"]
    # no marker lies on the head: it goes on along the trunk, over the shoulders rather than over C7, which lies behind
    points["top"] = middle + 0.62 * np.linalg.norm(middle - hips, axis=1)[:, None] * trunk
    return points


def _whole(told: dict, times: Array, points: Paths, at: Array) -> Array:
    """(N,) bool: each foot either stands on a plate, by a contact that can be used, or swings."""
    out = np.ones(len(at), bool)
    if told["trial"].startswith("quiet"):
        return out
    rate = 1.0 / (times[1] - times[0])
    for s in "LR":
        speeds = [np.linalg.norm(np.gradient(points[f"{p}.{s}"], axis=0), axis=1) * rate for p in ("heel", "toe")]
        carried = np.interp(at, times, np.minimum(*speeds)) > SWINGS
        for contact in told["contacts"]:
            if contact["foot"] != s or not contact["on_usable"] or contact["on"] is None:
                continue
            off = PARTIAL_FROM.get(told["trial"], np.inf)
            if contact["off_usable"]:
                off = contact["off"]
            carried |= (at >= contact["on"]) & (at <= off)
        out &= carried
    return out
