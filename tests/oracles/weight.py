# SPDX-License-Identifier: GPL-3.0-or-later
"""Asks pinocchio for momentum and ground force of random bodies in random states, and keeps its answers.

Writes weight.npz beside itself. A body is a tree of B rigid links on ball joints, the root floating; the links' masses,
centers and inertias are random. N states, each sampled T times, a millisecond apart, about its middle:

- mass (N, B), center (N, B, 3) in the link's axes from its joint, inertia (N, B, 3, 3) about the center, in the axes;
- heads (N, T, B, 3), axes (N, T, B, 3, 3): joints and axes of the links in the world;
- com, velocity, acceleration (N, 3); spin, spin_rate (N, 3): angular momentum about the center of mass and its rate;
- normal, through (N, 3): a plane; point (N, 3): where on it the ground's push has no moment but about the normal. From
  the recursive Newton-Euler wrench on the root, not from the momenta. force (N, 3): that push.
"""

from pathlib import Path
from typing import Any

import numpy as np

FILE = Path(__file__).with_suffix(".npz")
STATES, LINKS, SAMPLES, STEP = 12, 12, 7, 0.001
GRAVITY = np.array([0.0, 0.0, -9.81])


def body(rng: np.random.Generator) -> Any:
    """A random tree of links."""
    import pinocchio as pin

    model = pin.Model()
    model.gravity.linear = GRAVITY
    joints = [0]
    for k in range(LINKS):
        above = joints[0] if k == 0 else joints[1 + int(rng.integers(0, k))]
        kind = pin.JointModelFreeFlyer() if k == 0 else pin.JointModelSpherical()
        place = pin.SE3.Identity() if k == 0 else pin.SE3(np.eye(3), rng.normal(size=3) * 0.25)
        joints.append(model.addJoint(above, kind, place, f"joint{k}"))
        spread = rng.normal(size=(3, 3)) * 0.1
        moments = spread @ spread.T + np.eye(3) * 0.001  # of mass one
        mass = float(rng.uniform(0.5, 12.0))
        turning = mass * (np.trace(moments) * np.eye(3) - moments)
        model.appendBodyToJoint(joints[-1], pin.Inertia(mass, rng.normal(size=3) * 0.15, turning), pin.SE3.Identity())
    return model


def ask() -> dict[str, np.ndarray]:
    import pinocchio as pin

    rng = np.random.default_rng(20251126)
    out: dict[str, list[Any]] = {}
    for _ in range(STATES):
        model = body(rng)
        data = model.createData()
        q = pin.integrate(model, pin.neutral(model), rng.normal(size=model.nv) * 0.7)
        q[:3] = rng.normal(size=3) * 0.3 + [0, 0, 1.0]
        v, a = rng.normal(size=model.nv) * 0.6, rng.normal(size=model.nv) * 1.5
        links = [model.inertias[j] for j in range(1, model.njoints)]
        heads, axes = [], []
        for t in (np.arange(SAMPLES) - SAMPLES // 2) * STEP:
            pin.forwardKinematics(model, data, pin.integrate(model, q, v * t + a * t * t / 2))
            heads.append([data.oMi[j].translation.copy() for j in range(1, model.njoints)])
            axes.append([data.oMi[j].rotation.copy() for j in range(1, model.njoints)])
        pin.centerOfMass(model, data, q, v, a)
        com, velocity, acceleration = (np.array(x[0]) for x in (data.com, data.vcom, data.acom))
        pin.computeCentroidalMomentumTimeVariation(model, data, q, v, a)
        spin, spin_rate = data.hg.angular.copy(), data.dhg.angular.copy()
        pin.forwardKinematics(model, data, q)
        wrench = data.oMi[1].act(pin.Force(pin.rnea(model, data, q, v, a)[:6]))
        force, moment = wrench.linear.copy(), wrench.angular.copy()  # about the world's origin
        normal = rng.normal(size=3) * 0.15 + [0, 0, 1.0]
        normal /= np.linalg.norm(normal)
        through = rng.normal(size=3) * 0.2
        press = normal @ force
        point = (np.cross(normal, moment) + (normal @ through) * force) / press
        for name, value in {
            "mass": [link.mass for link in links], "center": [link.lever for link in links],
            "inertia": [link.inertia for link in links], "heads": heads, "axes": axes, "com": com,
            "velocity": velocity, "acceleration": acceleration, "spin": spin, "spin_rate": spin_rate,
            "normal": normal, "through": through, "point": point, "force": force,
        }.items():
            out.setdefault(name, []).append(np.array(value))
    return {name: np.array(values) for name, values in out.items()}


if __name__ == "__main__":
    np.savez_compressed(FILE, **ask())
    print(f"{FILE.name}: {STATES} states of {LINKS} links, {FILE.stat().st_size} bytes")
