# SPDX-License-Identifier: GPL-3.0-or-later
"""How the body's mass moves, and what that asks of the ground: momentum, force, pressure point, friction.

Everything stands on one fit of one window (numeric.local_fit): centers of mass and bone axes are fitted once, and the
rate of the angular momentum comes from their accelerations, not from a second filter over the momentum, which would
round it off twice. Rigid segments enter by their second moments S about their centers: with a_k for the axes of the
bone, the spin of a segment is the sum of S_jk a_j x da_k/dt, exactly I w for any rigid turn.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from .. import body
from ..frozen import freeze
from ..need import NOTHING, Need
from ..numeric.local_fit import HALF_WINDOW, LocalFit
from ..numeric.rotation import components_last, cross, dot, norm
from ..shot import Character, Shot
from ..study import Study, measure
from .exposure import exposure
from .mass import Load, Masses, masses
from .mass import told as mass_told
from .mass_held import held_loads
from .underfoot import upward

Array = np.ndarray

#: Under this share of its weight a body is all but in flight, and where it presses on the ground means nothing.
LEAST_LOAD = 0.4


@dataclass(frozen=True)
class MassMotion:
    """A character's whole mass, held things included, sample by sample; F samples, world m, kg, s.

    mass (F,) kg; center (F, 3) as sampled; fitted, velocity, acceleration (F, 3): center, smoothed, and its
    derivatives; spin, spin_rate (F, 3): angular momentum about the center, kg m2/s, and its rate, kg m2/s2. gravity
    (3,) m/s2 as the figure of this size feels it, up (3,) against it. sure (F,) bool: the derivatives' window is
    whole.
    """

    mass: Array
    center: Array
    fitted: Array
    velocity: Array
    acceleration: Array
    spin: Array
    spin_rate: Array
    gravity: Array
    up: Array
    sure: Array

    def __post_init__(self) -> None:
        freeze(self, "mass", (None,))
        f = len(self.mass)
        for name in ("center", "fitted", "velocity", "acceleration", "spin", "spin_rate"):
            freeze(self, name, (f, 3))
        freeze(self, "gravity", (3,))
        freeze(self, "up", (3,))
        freeze(self, "sure", (f,), bool)

    @cached_property
    def momentum(self) -> Array:
        """Linear momentum (F, 3), kg m/s."""
        return np.asarray(self.mass[:, None] * self.velocity)

    @cached_property
    def force(self) -> Array:
        """What must push the body, (F, 3) N: mass times (acceleration - gravity). All contacts together give it."""
        return np.asarray(self.mass[:, None] * (self.acceleration - self.gravity))

    @cached_property
    def load(self) -> Array:
        """Vertical force in body weights, (F,): 1 at rest, 0 in flight. NaN in a scene without gravity."""
        pull = float(np.linalg.norm(self.gravity))
        return np.asarray(dot(self.acceleration, self.up) / pull + 1.0) if pull > 0 else np.full(len(self.mass), np.nan)

    @cached_property
    def bears(self) -> Array:
        """(F,) bool: enough weight is on the ground for a pressure point to mean something, and the window is whole."""
        return np.asarray(self.sure & (self.load > LEAST_LOAD))

    def pressure_point(self, surface: Array, normal: Array | None = None) -> Array:
        """Where a ground must push so that nothing turns the body over, (F, 3) m: the point of the plane through
        ``surface`` (3,) or (F, 3) about which the ground has no moment but one about the plane's normal (3,) or (F, 3),
        up where None. On level ground the zero-moment point. NaN where the ground would have to pull."""
        n = np.broadcast_to(self.up if normal is None else np.asarray(normal, float), self.center.shape)
        force = self.acceleration - self.gravity
        press = dot(force, n)
        down = dot(np.asarray(surface, float) - self.fitted, n)
        turn = cross(n, self.spin_rate / self.mass[:, None])
        with np.errstate(divide="ignore", invalid="ignore"):
            away = (turn + force * down[:, None]) / np.where(press > 0, press, np.nan)[:, None]
        return np.asarray(self.fitted + away)

    def friction(self, normal: Array | None = None) -> Array:
        """Friction that the motion asks for, (F,): force along the ground over force into it; infinite where the ground
        would have to pull."""
        n = np.broadcast_to(self.up if normal is None else np.asarray(normal, float), self.center.shape)
        force = self.acceleration - self.gravity
        press = dot(force, n)
        along = norm(force - press[:, None] * n)
        return np.asarray(np.where(press > 0, along / np.where(press > 0, press, 1.0), np.inf))

    def extrapolated(self, surface: Array, ground_velocity: Array | float = 0.0) -> Array:
        """The extrapolated center of mass (Hof 2005, J Biomech 38:1-8), (F, 3) m: the center plus its velocity against
        the ground over sqrt(gravity / height), height over ``surface`` (3,) or (F, 3), seen along the plumb line. A
        body that stands still may keep its feet only if it lies within their base. NaN without gravity."""
        height = np.maximum(dot(self.fitted - np.asarray(surface, float), self.up), 0.0)
        pull = float(np.linalg.norm(self.gravity))
        if pull <= 0:
            return np.full(self.center.shape, np.nan)
        velocity = self.velocity - ground_velocity
        level = velocity - dot(velocity, self.up)[:, None] * self.up
        return np.asarray(self.fitted + level * np.sqrt(height / pull)[:, None])


def mass_motion_of(shot: Shot, character: Character, found: Masses, loads: Sequence[Load] = (),
                   samples: Array | None = None, half_window: float = HALF_WINDOW) -> MassMotion:
    """The motion of these masses, and of what is held.

    samples (D,): the sample indices that are drawings of their own, all where None; between them what is found is
    interpolated, so that motion on twos is judged by its drawings. half_window: of the derivatives, s. Raises
    ValueError on fewer than three samples or a shot without rotations.
    """
    fit = _fit(shot, samples, half_window)
    return _motion(shot, character, fit, _points_of(character, found, fit) + _turns_of(character, found, fit), loads)


@dataclass(frozen=True)
class _Fit:
    """taken (D,): samples that are drawings of their own; fit: of what is read there."""

    taken: Array
    fit: LocalFit

    def of(self, rows: Array) -> Array:
        """The drawings (..., D) of rows (..., F), frames last."""
        return rows if rows.shape[-1] == len(self.taken) else rows[..., self.taken]


def _fit(shot: Shot, samples: Array | None, half_window: float = HALF_WINDOW) -> _Fit:
    taken = np.arange(shot.count) if samples is None else np.asarray(samples, int)
    return _Fit(taken, LocalFit(shot.times[taken], half_window))


@dataclass(frozen=True)
class _Sums:
    """Sums over bodies, frames last. bodies: of mass points each their kg (S, D), places (3, S, D) as sampled and
    fitted with two derivatives; spin and its rate (3, D): of rigid turns about bodies' own centers."""

    bodies: tuple[tuple[Array, Array, Array, Array, Array], ...]
    spin: Array | float = 0.0
    spin_rate: Array | float = 0.0

    def __add__(self, other: "_Sums") -> "_Sums":
        return _Sums(self.bodies + other.bodies, self.spin + other.spin, self.spin_rate + other.spin_rate)

    def about_center(self) -> tuple[Array, ...]:
        """Mass (D,), and (3, D) each: center as sampled, fitted, velocity, acceleration, spin and its rate about it.

        The center's derivatives are the mean of its bodies': what is taken up or let go moves the center at once, but
        gives it no speed of its own."""
        kg = np.concatenate([body[0] for body in self.bodies])
        raw, places, velocities, accelerations = (
            np.concatenate([body[k] for body in self.bodies], 1) for k in range(1, 5))
        total = kg.sum(0)
        share = kg / total
        centers = [(share * rows).sum(1) for rows in (raw, places, velocities, accelerations)]
        off = places - centers[1][:, None]
        off *= kg
        spins = []
        for rates, rate, own in ((velocities, centers[2], self.spin), (accelerations, centers[3], self.spin_rate)):
            against = rates - rate[:, None]
            spins.append(own + np.stack([
                (off[(i + 1) % 3] * against[(i + 2) % 3] - off[(i + 2) % 3] * against[(i + 1) % 3]).sum(0)
                for i in range(3)]))
        return total, *centers, *spins


#: Bodies whose turns are worked out at once.
TURNED_AT_ONCE = 4


def _points(kg: Array, raw: Array, fit: LocalFit) -> _Sums:
    """Mass points: kg (S, 1) or (S, D), places (3, S, D)."""
    return _Sums(((np.broadcast_to(kg, raw.shape[1:]), raw, *fit(raw)),))


def _turns(axes: Array, moments: Array, times: Array, fit: LocalFit) -> _Sums:
    """Rigid turns about bodies' own centers: axes (3, 3, S, D), moments (3, 3, S, 1), counted ``times`` (D,) over."""
    spins = np.zeros((2, 3, axes.shape[3]))
    # a few bodies at a time: memory that is asked for anew for each of a long shot's rates takes longer than their sums
    for at in range(0, axes.shape[2], TURNED_AT_ONCE):
        some = axes[:, :, at:at + TURNED_AT_ONCE]
        own = moments[:, :, at:at + TURNED_AT_ONCE]
        leaning = [sum(some[i, j] * own[j] for j in range(3)) for i in range(3)]  # for each k the sum of S_jk a_j
        for spin, rate in zip(spins, fit(some)[1:], strict=True):
            for i in range(3):
                a, b = (i + 1) % 3, (i + 2) % 3
                spin[i] += (leaning[a] * rate[b] - leaning[b] * rate[a]).sum((0, 1))
    return _Sums((), *(spins * times))


def _points_of(character: Character, found: Masses, fit: _Fit) -> _Sums:
    return _points(found.mass[:, None], fit.of(found.centers(character)), fit.fit)


def _turns_of(character: Character, found: Masses, fit: _Fit) -> _Sums:
    squared = character.scale**2  # moments grow with the square of the figure's size
    moments = found.moments.transpose(1, 2, 0)[..., None]
    return _turns(fit.of(found.axes(character)), moments, fit.of(np.asarray(squared)), fit.fit)


def _motion(shot: Shot, character: Character, fit: _Fit, sums: _Sums, loads: Sequence[Load]) -> MassMotion:
    """The motion of these sums and of what is held, at every sample."""
    for load in loads:
        held = load.held[fit.taken]
        sums += _points(load.mass * held[None], fit.of(np.ascontiguousarray(load.place.T)[:, None]), fit.fit)
        if load.axes is not None and load.moments is not None:
            turned = fit.of(np.ascontiguousarray(load.axes.transpose(1, 2, 0))[:, :, None])
            sums += _turns(turned, load.moments[:, :, None, None], held, fit.fit)
    total, *rest = sums.about_center()
    every, at, sure = shot.times, fit.fit.times, fit.fit.sure
    if len(at) < shot.count:
        total, *rest = (_between(every, at, rows) for rows in (total, *rest))
        sure = np.interp(every, at, sure.astype(float)) == 1.0
    names = ("center", "fitted", "velocity", "acceleration", "spin", "spin_rate")
    return MassMotion(mass=total, gravity=shot.gravity / character.real_size, up=upward(shot.gravity), sure=sure,
                      **{name: components_last(rows) for name, rows in zip(names, rest, strict=True)})


def _between(every: Array, times: Array, rows: Array) -> Array:
    """Rows (..., D) at times (D,), read at every time (F,): straight between, held after the last."""
    flat = rows.reshape(-1, len(times))
    return np.stack([np.interp(every, times, row) for row in flat]).reshape(*rows.shape[:-1], len(every))


@measure(NOTHING, uses=(masses, exposure))
def drawings_fit(study: Study, character: Character) -> _Fit | None:
    """The fit of the character's drawings; None where it has no masses, fewer than three drawings, or poses without
    motion between them."""
    exposed = study.of(exposure, character)
    if study.of(masses, character).why or exposed.stepped or len(exposed.drawings) < 3:
        return None
    return _fit(study.shot, exposed.drawings)


@measure(Need.JOINTS | Need.ROTATIONS, uses=(masses, drawings_fit))
def moving_points(study: Study, character: Character) -> _Sums | None:
    """The segments' centers in motion, a step of their own since that of a long shot takes long."""
    fit = study.of(drawings_fit, character)
    return fit and _points_of(character, study.of(masses, character), fit)


@measure(Need.JOINTS | Need.ROTATIONS, uses=(masses, drawings_fit))
def turning_segments(study: Study, character: Character) -> _Sums | None:
    """The segments' turns about their centers."""
    fit = study.of(drawings_fit, character)
    return fit and _turns_of(character, study.of(masses, character), fit)


@measure(Need.JOINTS | Need.ROTATIONS, uses=(moving_points, turning_segments, held_loads))
def mass_motion(study: Study, character: Character) -> MassMotion | None:
    """The motion of the character's masses and of what it holds, judged on its drawings; None where it has no masses,
    fewer than three drawings, or poses without motion between them."""
    fit = study.of(drawings_fit, character)
    if fit is None:
        return None
    sums = study.of(moving_points, character) + study.of(turning_segments, character)
    return _motion(study.shot, character, fit, sums, study.of(held_loads, character))


def told(study: Study, character: Character) -> str:
    """What the masses are from, where they are not people's mean, and what is held, as the end of a note's sentence."""
    loads = study.of(held_loads, character)
    text = mass_told(study.of(masses, character))
    things = body.in_a_row([f"{load.name} ({load.mass:.3g} kg)" for load in loads]) if loads else ""
    return "".join(f"; {clause}" for clause in (text, f"with {things} held" if things else "") if clause)
