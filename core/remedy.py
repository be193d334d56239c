# SPDX-License-Identifier: GPL-3.0-or-later
"""The closed set of remedies, as data: the sentence is made from it, an operator can start from it, and
``testing.mend`` applies it to sampled motion.

``target`` is a body part ('foot.L') or a prop's name. ``frames`` is the first and last scene frame of the full change;
``ease`` is how many frames it is eased in before and out after them. Offsets are meters in the world.
"""

from dataclasses import dataclass

from .body import PARTS, in_a_row, spoken

Span = tuple[int, int]


def _name(target: str) -> str:
    return spoken(target) if target in PARTS else f'"{target}"'


def _when(frames: Span) -> str:
    return f"in frame {frames[0]}" if frames[0] == frames[1] else f"from frame {frames[0]} to {frames[1]}"


def _size(meters: float) -> str:
    return f"{meters * 1000:.0f} mm" if abs(meters) < 0.0995 else f"{meters * 100:.0f} cm"


@dataclass(frozen=True, slots=True)
class Move:
    """Move a part (its limb follows by inverse kinematics; the pelvis takes the body along, feet and hands that follow
    goals stay) or a prop."""

    target: str
    offset: tuple[float, float, float]
    frames: Span
    ease: int = 6
    toward: str = ""
    #: Where the limb swings meanwhile: the offset on each whole frame of the span; ``offset`` is then the worst one's.
    offsets: tuple[tuple[float, float, float], ...] = ()

    def sentence(self) -> str:
        x, y, z = self.offset
        how = _size((x * x + y * y + z * z) ** 0.5)
        where = f" {self.toward}" if self.toward else f" by ({x:+.3f}, {y:+.3f}, {z:+.3f}) m"
        text = f"Move the {_name(self.target)} {how}{where} {_when(self.frames)}"
        return f"{text}, eased over {self.ease} frames" if self.ease > 1 else text


@dataclass(frozen=True, slots=True)
class Turn:
    """Turn a part about a world axis through its own joint, one angle in degrees for the span (or one a frame).

    ``about``: places on a limb's end that stay where they are instead, one a frame or one for the span; its limb
    follows, as a foot rolls about its heel or ball, which
    ``pivot`` names."""

    target: str
    axis: tuple[float, float, float] | tuple[tuple[float, float, float], ...]
    angle: float | tuple[float, ...]
    frames: Span
    ease: int = 4
    toward: str = ""
    about: tuple[tuple[float, float, float], ...] = ()
    pivot: str = ""

    def sentence(self) -> str:
        angle = self.angle if isinstance(self.angle, int | float) else max(self.angle, key=abs)
        how = f"{abs(angle):.0f} degrees" + (f" {self.toward}" if self.toward else "")
        where = f" about its {self.pivot}" if self.pivot else ""
        return f"Turn the {_name(self.target)} back by {how}{where} {_when(self.frames)}"


@dataclass(frozen=True, slots=True)
class Pin:
    """Hold a part at places: one a frame, or one for the whole span."""

    target: str
    places: tuple[tuple[float, float, float], ...]
    frames: Span
    ease: int = 3
    #: Where the whole figure slid with the part: how far it is moved on each whole frame of the span; what follows
    #: keeps the last one.
    body: tuple[tuple[float, float, float], ...] = ()

    def sentence(self) -> str:
        x, y, z = self.places[0]
        text = f"Pin the {_name(self.target)} {_when(self.frames)} at ({x:.2f}, {y:.2f}, {z:.2f}) m"
        if self.body:
            x, y, z = self.body[-1]
            text += f", and move the whole figure with it, from there on by ({x:+.2f}, {y:+.2f}, {z:+.2f}) m"
        return text


@dataclass(frozen=True, slots=True)
class Ease:
    """Ease a move in and out: the same first and last pose, the spacing slow at the ends it names.

    The turn of the ``targets`` against their parents is re-timed, and the path of the ``paths`` in the world (pelvis,
    limb ends that follow a goal): numeric.ease says how. Where a turn goes another way beyond an end, it comes to rest
    there, and sets out from it softly.
    """

    targets: tuple[str, ...]
    frames: Span
    ease_in: bool = True
    ease_out: bool = True
    paths: tuple[str, ...] = ()

    def sentence(self) -> str:
        ends = "in and out" if self.ease_in and self.ease_out else "in" if self.ease_in else "out"
        who = ", ".join(_name(t) for t in dict.fromkeys((*self.targets, *self.paths)))
        return f"Ease the {who} {ends} {_when(self.frames)}"


@dataclass(frozen=True, slots=True)
class Fly:
    """Let the whole figure fly as gravity has it: frames taken out of a flight or put into it, and the path between.

    ``frames`` are the last frame on the ground before it and the first after it, ``added`` how many frames come into
    it (fewer than zero: go out of it), all that follows later or sooner by as many. ``offsets``: how far the figure is
    then moved on each whole frame between both, in the new timing; nothing at both ends. ``rise``: the other way, with
    its frames kept: meters by which the middle of the flight goes up.
    """

    target: str
    frames: Span
    added: int
    offsets: tuple[tuple[float, float, float], ...]
    rise: float = 0.0

    def sentence(self) -> str:
        first, last = self.frames
        where = f"between take-off in frame {first} and landing in frame {last}"
        x, y, z = max(self.offsets, key=lambda o: o[0] ** 2 + o[1] ** 2 + o[2] ** 2, default=(0.0, 0.0, 0.0))
        far = (x * x + y * y + z * z) ** 0.5
        path = "bring the whole figure onto the parabola drawn"
        if not self.added:
            return f"{path[0].upper()}{path[1:]} {where}, by up to {_size(far)}"
        count = abs(self.added)
        how = f"{'Take' if self.added < 0 else 'Put'} {count} frame{'s' if count > 1 else ''} "
        text = f"{how}{'out of' if self.added < 0 else 'into'} the {last - first} {where}"
        if far >= 0.01:
            text += f", and {path}, by up to {_size(far)}"
        high = "raise" if self.rise > 0 else "lower"
        return f"{text}; or keep its frames and {high} its middle by {_size(abs(self.rise))}"


@dataclass(frozen=True, slots=True)
class Give:
    """Let the body give under the force of a landing or build up that of a push-off: the target goes ``depth`` meters
    down while that lasts, ``over`` frames. ``offsets``: how far it is moved on each whole frame of the span, feet and
    hands with goals staying. ``landing`` False: a push-off, which ends in flight as a landing begins in it."""

    target: str
    frames: Span
    depth: float
    over: int
    offsets: tuple[tuple[float, float, float], ...]
    landing: bool = True

    def sentence(self) -> str:
        frames = f"{self.over} frame{'s' if self.over > 1 else ''}"
        if self.landing:
            return f"Let the {_name(self.target)} sink {_size(self.depth)} over {frames} from frame {self.frames[0]}"
        return (f"Let the {_name(self.target)} sink first and rise {_size(self.depth)} over {frames} up to frame "
                f"{self.frames[1]}")


@dataclass(frozen=True, slots=True)
class Settle:
    """Let parts go on past their stop and come back: for each target its offset in world meters on each whole frame of
    the span, the last one nothing."""

    targets: tuple[str, ...]
    frames: Span
    offsets: tuple[tuple[tuple[float, float, float], ...], ...]

    def sentence(self) -> str:
        told = [
            f"the {_name(target)} {_size(max((x * x + y * y + z * z) ** 0.5 for x, y, z in offsets))}"
            for target, offsets in zip(self.targets, self.offsets, strict=True)
        ]
        return f"Let {', '.join(told)} past the stop and settle by frame {self.frames[1]}"


@dataclass(frozen=True, slots=True)
class Drift:
    """Keep parts alive: each turned about a world axis through its own joint by an angle in degrees on each whole frame
    of the span, little, and none at both ends."""

    targets: tuple[str, ...]
    axis: tuple[float, float, float]
    angle: tuple[float, ...]
    frames: Span

    def sentence(self) -> str:
        who = " and ".join(_name(t) for t in self.targets)
        return f"Let the {who} drift by {max(self.angle):.0f} degrees and back {_when(self.frames)}"


@dataclass(frozen=True, slots=True)
class Shift:
    """Offset parts of a block down the chain: each part's turn from the first to the last frame comes ``later`` frames
    after its keys of now, and the last of ``frames`` is where the latest has arrived."""

    targets: tuple[str, ...]
    later: tuple[int, ...]
    frames: Span

    def sentence(self) -> str:
        told = [
            f"the {_name(target)} by {count} frame{'s' if count != 1 else ''}"
            for target, count in zip(self.targets, self.later, strict=True)
        ]
        return f"Offset {in_a_row(told)} {_when(self.frames)}"


@dataclass(frozen=True, slots=True)
class Follow:
    """Let parts travel with what carries them: between the first and last frame their turn goes from the one to the
    other pose in one eased move."""

    targets: tuple[str, ...]
    frames: Span
    carrier: str

    def sentence(self) -> str:
        who = " and ".join(_name(t) for t in self.targets)
        return f"Let the {who} travel with the {_name(self.carrier)} {_when(self.frames)}"


Offsets = tuple[tuple[float, float, float], ...]


def _most(offsets: Offsets) -> str:
    return _size(max((x * x + y * y + z * z) ** 0.5 for x, y, z in offsets))


@dataclass(frozen=True, slots=True)
class Smooth:
    """Take a wiggle out of a part's path: its offset in world meters on each whole frame of the span, and on no
    other."""

    target: str
    frames: Span
    offsets: Offsets

    def sentence(self) -> str:
        return f"Smooth the path of the {_name(self.target)} {_when(self.frames)}, by up to {_most(self.offsets)}"


@dataclass(frozen=True, slots=True)
class Land:
    """Bring a frame that breaks a part's path to where it should land, and those beside it that go with it: the part's
    offset in world meters on each whole frame of the span, and on no other."""

    target: str
    frames: Span
    offsets: Offsets

    def sentence(self) -> str:
        if len(self.offsets) == 1:
            return (f"Move the {_name(self.target)} {_most(self.offsets)} {_when(self.frames)}, to where its path "
                    "should land")
        return Smooth(self.target, self.frames, self.offsets).sentence()


@dataclass(frozen=True, slots=True)
class Soften:
    """Take the snap out of a knee or elbow: the limb's end, or the pelvis over feet that stay, moved by an offset in
    world meters on each whole frame of the span, and on no other. toward: what that is nearer to."""

    target: str
    frames: Span
    offsets: Offsets
    toward: str

    def sentence(self) -> str:
        return f"Move the {_name(self.target)} {_most(self.offsets)} {self.toward} {_when(self.frames)}"


@dataclass(frozen=True, slots=True)
class Balance:
    """Bring the body back over what bears it: the target moved by an offset in world meters on each whole frame of the
    span, and on no other. toward: the way of the largest one, in words, or ''. along: feet and hands that stand or lean
    on nothing meanwhile, whose goals go with it, feet never lower; the others stay."""

    target: str
    frames: Span
    offsets: Offsets
    toward: str = ""
    along: tuple[str, ...] = ()

    def sentence(self) -> str:
        x, y, z = max(self.offsets, key=lambda o: o[0] ** 2 + o[1] ** 2 + o[2] ** 2)
        way = self.toward or f"by ({x:+.3f}, {y:+.3f}, {z:+.3f}) m"
        text = f"Move the {_name(self.target)} {_most(self.offsets)} {way} {_when(self.frames)}"
        return f"{text}, {in_a_row([f'the {_name(part)}' for part in self.along])} with it" if self.along else text


Remedy = Move | Turn | Pin | Ease | Fly | Give | Settle | Drift | Shift | Follow | Smooth | Land | Soften | Balance
