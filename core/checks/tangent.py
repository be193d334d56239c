# SPDX-License-Identifier: GPL-3.0-or-later
"""tangent: two outlines that just touch in the shot's camera."""

from collections.abc import Iterator
from typing import ClassVar

import numpy as np

from ..body import spoken
from ..check import Check
from ..evidence import Evidence, Point, Polyline, ScreenOutline
from ..kiss import Kiss, Thing
from ..measures.kiss_pairs import camera_runs, height_of
from ..measures.kisses import Track, held, tracks, view_of
from ..need import Need
from ..note import Limit, Note, Severity, Skip
from ..numeric.camera import View
from ..numeric.kissing import APART, TOUCH
from ..numeric.outline import chain
from ..remedy import Move
from ..shot import Array, Character, Shot
from ..study import Study

#: Seconds that a kiss must hold: to be noted, and to be high.
HELD, LONG = 0.25, 0.5
#: What is clear: U of background between the outlines, or of overlap.
CLEAR, OVERLAP = 6.0, 16.0
#: Apart in depth by more than this share of the height, a kiss flattens the picture.
FLATTENS = 0.3


class Tangent(Check):
    """Two outlines just touch in the shot's camera.

    Seen as: two outlines that just touch in the picture, a lantern against the side of a head, so that the eye
    takes them for one shape or for one depth.

    Measures: the signed gap between the outlines of evaluated meshes in the shot's camera, in pixels of a picture whose
    shorter side is 1080, negative where one lies inside the other; followed from frame to frame within one run of the
    camera. Only outlines that can be seen count: no folds inside a thing, nothing that a nearer thing hides.

    Limit: low within 3 px for 0.25 s, medium within 2.25 px for 0.25 s, high within 2.25 px for 0.5 s or for the whole
    of a shorter run of the camera. A corner that touches is medium at most, and away from a head, where fewer eyes
    rest, only from 0.5 s. Low where the two touch in the world too, and where they overlap plainly at another place,
    which tells what is before. Common practice, no source.

    Silent when: the outlines cross in passing, one lies well behind the other's edge, the place is hidden, the limb
    holds the prop, the prop is fastened to the part, or the two are parts of one body that meet at a joint.

    Cannot see: the frame's border, set pieces, set lines and the horizon are not judged, nor one limb against another.
    Color and contrast, motion blur, depth of field, alpha, displacement, subdivision and hair are not seen, nor whether
    a tangent is wanted. What opens and closes again between two looks, an eighth of a second apart, is taken to have
    stayed. Panoramic lenses are skipped.

    Remedy: move the thing across the view until 6 px of background show between the outlines, or the other way until
    they overlap by 16 px; by the thing, the limb or the camera is a person's choice.
    """

    lane: ClassVar[str] = "Staging"
    uses = (tracks,)
    own_needs = Need.CAMERA | Need.KISSES | Need.JOINTS | Need.PROPS
    per_shot = True
    limit = Limit(3.0, 2.25, 2.25, "px", "common practice, no source")

    def run(self, study: Study, character: Character | None) -> Iterator[Note | Skip]:
        shot = study.shot
        reason = _reason(shot)
        if reason:
            yield self.skip(None, reason)
            return
        kisses = shot.kisses
        assert shot.camera is not None and kisses is not None
        for remark in kisses.remarks:
            yield self.skip(None, remark)
        if "PANO" in shot.camera.kind:
            names = dict.fromkeys(n for n, k in zip(shot.camera.names, shot.camera.kind, strict=True) if k == "PANO")
            yield self.skip(
                None, f"the lens of {', '.join(names)} is panoramic, so outlines cannot be followed through it"
            )
        judged = [
            (severity, stretch)
            for severity, stretch in (_judge(shot, track) for track in study.of(tracks))
            if severity is not None
        ]
        # Where one place overlaps and another still gapes, the two outlines overlap.
        judged.sort(key=lambda j: (-j[0].rank, float(np.median(j[1].gaps))))
        told: list[Track] = []
        for severity, stretch in judged:
            # Two corners of one prop at one head are one kiss: the graver place speaks for both.
            if not any(_one_fault(shot, stretch, other) for other in told):
                told.append(stretch)
                yield self._note(study, severity, stretch, [s for _, s in judged if _one_fault(shot, s, stretch)])

    def _note(self, study: Study, severity: Severity, stretch: Track, together: list[Track]) -> Note:
        shot = study.shot
        worst = _worst(stretch)
        whole = [s for s in together if (s.a, s.b) == (stretch.a, stretch.b)]
        span = min(int(s.samples[0]) for s in whole), max(int(s.samples[-1]) for s in whole)
        a, b = stretch.a, stretch.b
        assert shot.camera is not None
        seen = view_of(shot.camera, worst.sample)
        assert seen is not None
        figure = b if b.kind == "part" else a
        who = next((c for c in shot.characters if c.name == figure.character), None)
        place = seen.place(*worst.place, worst.depth_a if figure is a else worst.depth_b)
        part = _part_at(who, figure, worst.sample, place) if who is not None else figure.name
        remedy, far = _apart(
            seen, together, worst, (shot.frame(span[0]), shot.frame(span[1])), part if a.kind == "part" else a.name
        )
        return self.note(
            study,
            who,
            part,
            span,
            worst.sample,
            severity=severity,
            measured=worst.gap,
            text=_sentence(shot, stretch, span, worst, who, part, far, seen),
            remedy=remedy,
            evidence=_shown(seen, worst, (shot.frame(span[0]), shot.frame(span[1]))),
            kind=_form(stretch),
            parts=(part,) if a.kind == "part" else (part if who is not None else b.name, a.name),
        )


def _reason(shot: Shot) -> str:
    if shot.camera is None:
        return "the scene has no camera on every frame, so nothing can be said about its picture"
    if not shot.props and len(shot.characters) < 2:
        return "the shot has one character and no prop, so there are no two outlines to hold against each other"
    if shot.kisses is None:
        return "the meshes were not read, so there are no outlines to judge"
    if not shot.kisses.pairs and not shot.kisses.remarks and "PANO" not in shot.camera.kind:
        return (
            "every prop is held by or fastened to what it could touch, "
            "so there are no two outlines to hold against each other"
        )
    return ""


def _judge(shot: Shot, track: Track) -> tuple[Severity | None, Track]:
    """The severest step that the track holds, and the stretch that the note is about: all within the low limit."""
    assert shot.camera is not None
    limit = Tangent.limit
    run = next(r for r in camera_runs(shot.camera) if r.start <= track.kisses[0].sample < r.stop)
    least, long = _samples(shot, HELD), min(_samples(shot, LONG), run.stop - run.start)
    wide = held(track, limit.low, least)
    if not wide:
        return None, track
    narrow = held(track, limit.medium, least)
    inside = next(
        (w for w in wide if narrow and w.kisses[0].sample <= narrow[0].kisses[0].sample <= w.kisses[-1].sample),
        max(wide, key=lambda t: len(t.kisses)),
    )
    if not narrow or _touching(shot, inside) or _crossed(inside):
        return Severity.LOW, inside
    lasting, corner = bool(held(track, limit.high, max(long, least))), _form(inside) == "corner"
    if corner and not lasting and not any(thing.name == "head" for thing in (track.a, track.b)):
        return Severity.LOW, inside
    return Severity.HIGH if lasting and not corner else Severity.MEDIUM, inside


def _one_fault(shot: Shot, one: Track, other: Track) -> bool:
    """Whether two tracks are one fault: kisses of one thing with one other in one run of the camera, wherever they are,
    at the same time or with less between them than makes a kiss; or with two parts of one body where these meet."""
    assert shot.camera is not None
    apart = max(one.kisses[0].sample - other.kisses[-1].sample, other.kisses[0].sample - one.kisses[-1].sample)
    if shot.camera.run[one.kisses[0].sample] != shot.camera.run[other.kisses[0].sample]:
        return False
    if (one.a, one.b) == (other.a, other.b):
        return apart <= _samples(shot, HELD)
    if one.a != other.a or not one.b.character or one.b.character != other.b.character:
        return False
    places = {k.sample: k.place for k in one.kisses}
    between = [np.hypot(*np.subtract(places[k.sample], k.place)) for k in other.kisses if k.sample in places]
    return bool(between) and float(np.median(between)) < APART


def _samples(shot: Shot, seconds: float) -> int:
    return max(1, int(np.ceil(seconds * shot.rate - 1e-3)))


def _form(track: Track) -> str:
    forms = [k.form for k in track.kisses]
    return max(dict.fromkeys(forms), key=forms.count)


def _height(shot: Shot) -> float:
    return max((height_of(c) for c in shot.characters), default=1.7)


def _touching(shot: Shot, track: Track) -> bool:
    """Whether the two touch in the world for most of the stretch."""
    near = [abs(k.depth_a - k.depth_b) < TOUCH * _height(shot) for k in track.kisses]
    return sum(near) * 2 > len(near)


def _crossed(track: Track) -> bool:
    """Whether the two overlap clearly at another place for most of the stretch, which tells the eye what is before."""
    return sum(k.crossed for k in track.kisses) * 2 > len(track.kisses)


def _worst(track: Track) -> Kiss:
    """The kiss of smallest gap; among those within 0.05 px of it the middle one of the longest run, or the
    one nearest to that of which an outline was seen."""
    gaps = np.abs(track.gaps)
    close = np.flatnonzero(gaps <= gaps.min() + 0.05)
    runs = np.split(close, np.flatnonzero(np.diff(close) > 1) + 1)
    longest = max(runs, key=len)
    middle = int(longest[len(longest) // 2])
    seen = [n for n, kiss in enumerate(track.kisses) if kiss.pieces_a is not None] or list(range(len(gaps)))
    near = [n for n in seen if n in longest] or [n for n in seen if n in close]
    return track.kisses[min(near, key=lambda n: abs(n - middle)) if near else min(seen, key=lambda n: gaps[n])]


def _part_at(who: Character, figure: Thing, sample: int, place: Array) -> str:
    """The body part of the figure whose bone is nearest to a world place."""

    def apart(part: str) -> float:
        start, along = who.head(part)[sample], who.end(part)[sample] - who.head(part)[sample]
        t = float(np.clip(((place - start) @ along) / max(float(along @ along), 1e-12), 0.0, 1.0))
        return float(np.linalg.norm(place - start - along * t))

    if figure.name in figure.parts:
        return figure.name
    return min(figure.parts, key=apart)


def _apart(seen: View, together: list[Track], worst: Kiss, frames: tuple[int, int], target: str) -> tuple[Move, float]:
    """Move a across the view, away from b, until CLEAR in every frame; and how many U that is."""
    need = max(CLEAR - k.gap for track in together for k in track.kisses)
    offset = seen.across(np.array(worst.normal)) * need * float(seen.meters_per_unit(worst.depth_a))
    x, y, z = (float(v) for v in offset)
    return Move(target, (x, y, z), frames, toward=f"{_way(worst.normal)} in the picture"), need


def _way(normal: tuple[float, float]) -> str:
    x, y = normal
    side = "right" if x > 0 else "left"
    height = "up" if y > 0 else "down"
    if abs(y) < 0.38 * abs(x):
        return f"to the {side}"
    return height if abs(x) < 0.38 * abs(y) else f"{height} and to the {side}"


def _sentence(
    shot: Shot,
    track: Track,
    span: tuple[int, int],
    worst: Kiss,
    who: Character | None,
    part: str,
    far: float,
    seen: View,
) -> str:
    a = f'"{track.a.name}"' if track.a.kind == "prop" else f"{who.name if who else track.a.character}'s head"
    b = (
        f'"{track.b.name}"'
        if track.b.kind == "prop"
        else (f'"{track.b.character}"' if track.b.kind == "character" else f"the {spoken(part)}")
    )
    gap = worst.gap
    state = (
        f"overlap by {-gap:.1f} px" if gap < -0.05 else f"are {gap:.1f} px apart" if gap > 0.05 else "touch at 0.0 px"
    )
    seconds = (span[1] - span[0] + 1) / shot.rate
    form = {"parallel": "side by side", "aligned": "edge along edge", "corner": "at a corner"}[_form(track)]
    between = abs(worst.depth_a - worst.depth_b)
    depth = f"{between:.2f} m apart in depth"
    if between > FLATTENS * _height(shot):
        depth += ", which flattens the picture"
    per = float(seen.meters_per_unit(worst.depth_a)) * 100.0
    over = OVERLAP + worst.gap
    return (
        f"The outlines of {a} and {b} {state} in the camera for {seconds:.2f} s, {form}, closest in frame "
        f"{shot.frame(worst.sample)}; {depth}. Clear by {far:.0f} px ({far * per:.1f} cm) {_way(worst.normal)}, "
        f"or overlap by {over:.0f} px ({over * per:.1f} cm) more"
    )


def _shown(seen: View, worst: Kiss, frames: tuple[int, int]) -> list[Evidence]:
    """Both outlines near the place, in the picture and in the world, and a ring about it."""
    shapes: list[Evidence] = []
    sides = (("found", worst.pieces_a, worst.depth_a), ("held_against", worst.pieces_b, worst.depth_b))
    for role, pieces, depth in sides:
        for line in chain(pieces) if pieces is not None else ():
            shapes.append(ScreenOutline(role, frames, tuple((float(x), float(y)) for x, y in line)))
            places = tuple(_tuple(seen.place(float(x), float(y), depth)) for x, y in line)
            shapes.append(Polyline(role, frames, places))
    middle = seen.place(*worst.place, min(worst.depth_a, worst.depth_b))
    shapes.append(Point("found", frames, (_tuple(middle),), kind="ring"))
    return shapes


def _tuple(place: Array) -> tuple[float, float, float]:
    return float(place[0]), float(place[1]), float(place[2])
