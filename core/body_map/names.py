# SPDX-License-Identifier: GPL-3.0-or-later
"""What bone names say: folded into words, sides by pairing, and points for the part that a name means.

Digits never mean anything, nor does a side token without its counterpart: default names ('Bone.001',
'ボーン', 'Knochen', '骨骼') therefore say nothing at all.
"""

import re
import unicodedata
from collections import defaultdict
from collections.abc import Sequence
from functools import lru_cache

from .words import CONTROL, LEAF, NOISE, OTHER, PARTS_OF, SIDES, TWIST

_SPLIT = re.compile(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+|\d+|[^\W\d_A-Za-z]+")
_CJK = re.compile("[぀-ヿ㐀-鿿가-힯]")
_PREFIX = re.compile(r"^.*[:|]")


@lru_cache(maxsize=4096)
def fold(name: str) -> tuple[str, ...]:
    """'Armature|mixamorig:LeftUpLeg.001' -> ('left', 'up', 'leg', '001')."""
    text = _PREFIX.sub("", name) or name
    if not _CJK.search(text):
        text = "".join(c for c in unicodedata.normalize("NFD", text) if not unicodedata.combining(c) or c == "\u0306")
        text = unicodedata.normalize("NFC", text).replace("ß", "ss").replace("ø", "o").replace("ł", "l")
    else:
        text = unicodedata.normalize("NFKC", text)
    tokens: list[str] = []
    for token in _SPLIT.findall(text):
        if _CJK.search(token) and token[0] in "左右" and len(token) > 1:
            tokens += [token[0], token[1:]]
        elif _CJK.search(token) and token[-1] in "左右" and len(token) > 1:
            tokens += [token[:-1], token[-1]]
        elif not token.isascii() and not _CJK.search(token):
            tokens += [t.lower() for t in re.findall(r"[А-ЯЁ]+(?![а-яё])|[А-ЯЁ]?[а-яё]+|.+", token)]
        else:
            tokens.append(token.lower())
    return tuple(tokens)


@lru_cache(maxsize=4096)
def _sides_of(token: str) -> tuple[tuple[str, int, str], ...]:
    """(what is left with the side taken out, 0 left or 1 right, family), surest first."""
    found = []
    for family, (left, right) in enumerate(SIDES):
        for which, word in ((0, left), (1, right)):
            if token == word:
                found.append(("", which, f"{family}"))
            elif len(word) > 2 and len(token) - len(word) >= 2 and family < 10:
                if token.startswith(word):
                    found.append((token[len(word) :] + "<", which, f"{family}"))
                elif token.endswith(word):
                    found.append((token[: -len(word)] + ">", which, f"{family}"))
    for which, stem in ((0, "лев"), (1, "прав"), (0, "lev"), (1, "prav")):
        if token.startswith(stem) and len(token) <= len(stem) + 3:
            found.append(("", which, "slavic"))
    if token.isascii() and token.isalpha():
        for which, letter in ((0, "l"), (1, "r")):
            if token[0] == letter and len(token) >= 3:
                found.append((token[1:] + "<", which, "glued"))
            if token[-1] == letter and 2 <= len(token) <= 4:
                found.append((token[:-1] + ">", which, "behind"))
    return tuple(found)


def pair_sides(
    folded: Sequence[tuple[str, ...]], taken: Sequence[str] | None = None
) -> tuple[list[str], list[int], list[tuple[str, ...]]]:
    """Sides by pairing: (side 'L', 'R' or '' per bone, partner or -1, words without the side).

    ``taken`` keeps bones of different armatures apart (a key part per bone).
    """
    n = len(folded)
    keys: dict[tuple[object, ...], tuple[list[int], list[int]]] = defaultdict(lambda: ([], []))
    wishes: list[list[tuple[tuple[object, ...], int, tuple[str, ...]]]] = []
    for i, tokens in enumerate(folded):
        wish: list[tuple[tuple[object, ...], int, tuple[str, ...]]] = []
        for at, token in enumerate(tokens):
            for rest, which, family in _sides_of(token):
                key = (*tokens[:at], f"*{rest}{family}", *tokens[at + 1 :], taken[i] if taken else "")
                left = tokens[:at] + ((rest[:-1],) if rest else ()) + tokens[at + 1 :]
                wish.append((key, which, left))
                keys[key][which].append(i)
        # Whole words before glued letters: 'Left' before the l of 'leg'.
        if len(wish) > 1:
            wish.sort(key=lambda w: "glued" in str(w[0]) or "behind" in str(w[0]))
        wishes.append(wish)
    side, partner, words = [""] * n, [-1] * n, list(folded)
    for i, wish in enumerate(wishes):
        if partner[i] >= 0:
            continue
        for mark, which, left in wish:
            mates = [j for j in keys[mark][1 - which] if partner[j] < 0 and j != i]
            if not mates:
                continue
            j = min(mates, key=lambda j: abs(j - i))
            side[i], side[j] = "LR"[which], "LR"[1 - which]
            partner[i], partner[j] = j, i
            words[i] = left
            words[j] = next(lft for k, w, lft in wishes[j] if k == mark and w == 1 - which)
            break
    return side, partner, words


def is_control(tokens: Sequence[str]) -> bool:
    """Whether the name says that the bone is a handle or a helper, by a whole word."""
    return any(t in CONTROL for t in tokens)


def is_leaf(tokens: Sequence[str]) -> bool:
    """Whether the name says that the bone only ends another."""
    return any(t in LEAF for t in tokens)


def is_twist(tokens: Sequence[str]) -> bool:
    return any(t in TWIST for t in tokens)


@lru_cache(maxsize=4096)
def is_other(tokens: tuple[str, ...]) -> bool:
    """Whether the name says face, hair, clothes, tail, a prop: no limb hangs there."""
    joined = "".join(t for t in tokens if not t.isdigit())
    return any(t in OTHER for t in tokens) or (
        bool(_CJK.search(joined)) and any(w in joined for w in OTHER if _CJK.search(w))
    )


@lru_cache(maxsize=4096)
def points(tokens: tuple[str, ...], sided: bool) -> dict[str, float]:
    """Part without side -> points (3 exact, less for doubtful words); {} where the name says nothing. Do not change
    it.
    """
    words = [t for t in tokens if not t.isdigit() and t not in NOISE]
    if not words or is_other(tokens) or is_leaf(tokens):
        return {}
    joined = "".join(words)
    off = 1.2 if is_twist(tokens) else 0.0
    if is_twist(tokens):
        words = [w for w in words if w not in TWIST]
        joined = "".join(words)
    found = PARTS_OF.get(joined)
    if found is None and _CJK.search(joined):
        inside = [w for w in PARTS_OF if w in joined and _CJK.search(w)]
        if inside:
            found, off = PARTS_OF[max(inside, key=len)], off + 0.3
    if found is None:
        for length in range(len(words) - 1, 0, -1):
            hits = ["".join(words[i : i + length]) for i in range(len(words) - length, -1, -1)]
            hit = next((h for h in hits if h in PARTS_OF), None)
            if hit is not None:
                found, off = PARTS_OF[hit], off + 0.7
                break
    if found is None:
        return {}
    if joined == "hip" or (not sided and "hip" in words and "thigh" in found):
        found = {"thigh": 1.5, "clavicle": 0.0} if sided else {"pelvis": 3.0}
    return {part: max(p - off, 0.2) for part, p in found.items() if p > 0}
