# SPDX-License-Identifier: GPL-3.0-or-later
"""Asks mujoco how a body flies while its limbs are driven about, and keeps its answers.

Writes flight.npz beside itself. A trunk with a head, two-link arms and legs on ball joints is thrown, and its joints
are pushed by smooth random torques, so that limbs and trunk turn against each other: center of mass and angular
momentum know nothing of that. Fourth-order Runge-Kutta without damping or armature. N flights of T samples, 120 a
second:

- mass (B,), center (B, 3) in the link's axes from its joint, inertia (B, 3, 3) about the center, in the axes;
- heads (N, T, B, 3), axes (N, T, B, 3, 3);
- com, velocity (N, T, 3) m, m/s; spin (N, T, 3) kg m2/s about the center of mass.
"""

from pathlib import Path
from typing import Any

import numpy as np

FILE = Path(__file__).with_suffix(".npz")
FLIGHTS, RATE, SECONDS, SUB = 3, 120, 0.6, 80

#: name: parent, joint in the parent's axes, end of its capsule in its own, radius (m).
LINKS = {
    "trunk": ("", (0, 0, 0), (0, 0, 0.5), 0.12),
    "head": ("trunk", (0, 0, 0.6), (0, 0, 0.16), 0.09),
    **{f"{limb}_{s}": (f"{above}_{s}" if below else above, place(x), end, r)
       for s, x in (("l", 1), ("r", -1))
       for limb, above, below, place, end, r in (
           ("thigh", "trunk", False, lambda x: (0.09 * x, 0, -0.05), (0, 0, -0.40), 0.07),
           ("shin", "thigh", True, lambda x: (0, 0, -0.42), (0, 0, -0.40), 0.045),
           ("upper_arm", "trunk", False, lambda x: (0.19 * x, 0, 0.45), (0, 0, -0.26), 0.045),
           ("forearm", "upper_arm", True, lambda x: (0, 0, -0.28), (0, 0, -0.40), 0.035))},
}


def written() -> str:
    """The body for mujoco."""

    def numbers(values: Any) -> str:
        return " ".join(f"{v:g}" for v in values)

    def element(name: str) -> str:
        above, place, end, radius = LINKS[name]
        joint = "<freejoint/>" if not above else f'<joint name="{name}" type="ball"/>'
        inner = "".join(element(other) for other in LINKS if LINKS[other][0] == name)
        return (f'<body name="{name}" pos="{numbers(place)}">{joint}'
                f'<geom type="capsule" fromto="0 0 0 {numbers(end)}" size="{radius}" contype="0" conaffinity="0"/>'
                f"{inner}</body>")

    return (f'<mujoco><compiler angle="radian"/><option timestep="{1 / (RATE * SUB):.17g}" integrator="RK4"/>'
            f'<worldbody>{element("trunk")}</worldbody></mujoco>')


def ask() -> dict[str, np.ndarray]:
    import mujoco

    model = mujoco.MjModel.from_xml_string(written())
    rows = [model.body(name).id for name in LINKS]
    own = np.empty((len(rows), 9))
    for k, row in enumerate(rows):
        mujoco.mju_quat2Mat(own[k], model.body_iquat[row])
    own = own.reshape(-1, 3, 3)
    inertia = own @ (model.body_inertia[rows][:, :, None] * own.transpose(0, 2, 1))
    rng = np.random.default_rng(11)
    out: dict[str, list[Any]] = {"heads": [], "axes": [], "com": [], "velocity": [], "spin": []}
    for _ in range(FLIGHTS):
        data = mujoco.MjData(model)
        data.qpos[:3] = (0, 0, 1.0)
        data.qvel[:] = rng.normal(size=model.nv) * 0.6
        data.qvel[2] = 3.0
        data.qvel[3:6] = rng.normal(size=3) * 2.0
        swing, phase = rng.normal(size=model.nv) * 1.5, rng.uniform(0, 6, model.nv)
        swing[:6] = 0.0  # nothing outside pushes it
        flight: dict[str, list[Any]] = {name: [] for name in out}
        for _ in range(int(SECONDS * RATE) + 1):
            mujoco.mj_forward(model, data)
            mujoco.mj_subtreeVel(model, data)
            flight["heads"].append(data.xpos[rows].copy())
            flight["axes"].append(data.xmat[rows].reshape(-1, 3, 3).copy())
            flight["com"].append(data.subtree_com[rows[0]].copy())
            flight["velocity"].append(data.subtree_linvel[rows[0]].copy())
            flight["spin"].append(data.subtree_angmom[rows[0]].copy())
            for _ in range(SUB):
                data.qfrc_applied[:] = swing * np.sin(9.0 * data.time + phase)
                mujoco.mj_step(model, data)
        for name in out:
            out[name].append(flight[name])
    told = {name: np.array(values) for name, values in out.items()}
    return told | {"mass": model.body_mass[rows].copy(), "center": model.body_ipos[rows].copy(), "inertia": inertia}


if __name__ == "__main__":
    np.savez_compressed(FILE, **ask())
    print(f"{FILE.name}: {FLIGHTS} flights of {len(LINKS)} links, {FILE.stat().st_size} bytes")
