# SPDX-License-Identifier: GPL-3.0-or-later
"""How riggers name bones: habits of many trades and tongues, for random humans to be named by.

A habit is a table part -> name pattern; chains (spine, neck, fingers, tail) are numbered by the habit.
"""

from collections.abc import Callable
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Habit:
    """How a rigger names: words by part; sides (left, right); join(word, side) -> name; chain(word, number, count) ->
    word.
    """

    name: str
    words: dict[str, str]
    sides: tuple[str, str]
    join: Callable[[str, str], str]
    first_bare: bool = False
    numbers: Callable[[int], str] = field(default=lambda i: str(i + 1))
    known: bool = True


def _habit(name: str, words: str, sides: tuple[str, str], join: Callable[[str, str], str], **more: object) -> Habit:
    keys = [
        "root",
        "pelvis",
        "spine",
        "chest",
        "neck",
        "head",
        "clavicle",
        "upper_arm",
        "forearm",
        "hand",
        "finger",
        "thigh",
        "shin",
        "foot",
        "toe",
        "tail",
        "hair",
        "twist",
        "eye",
        "end",
    ]
    return Habit(name, dict(zip(keys, words.split(), strict=True)), sides, join, **more)  # type: ignore[arg-type]


def _after(mark: str) -> Callable[[str, str], str]:
    return lambda word, side: f"{word}{mark}{side}" if side else word


def _before(mark: str) -> Callable[[str, str], str]:
    return lambda word, side: f"{side}{mark}{word}" if side else word


HABITS = (
    _habit(
        "dotted",
        "root hips spine chest neck head shoulder upper_arm forearm hand finger thigh shin foot toe tail hair "
        "twist eye end",
        ("L", "R"),
        _after("."),
        numbers=lambda i: f".{i + 1:03d}",
    ),
    _habit(
        "colon",
        "Root Hips Spine Spine Neck Head Shoulder Arm ForeArm Hand HandIndex UpLeg Leg Foot ToeBase Tail Hair "
        "Roll Eye End",
        ("Left", "Right"),
        lambda w, s: f"mixamorig:{s}{w}",
        first_bare=True,
    ),
    _habit(
        "snake",
        "root pelvis spine spine neck head clavicle upperarm lowerarm hand index thigh calf foot ball tail hair "
        "twist eye end",
        ("l", "r"),
        _after("_"),
        numbers=lambda i: f"_{i + 1:02d}",
    ),
    _habit(
        "biped",
        "Root Pelvis Spine Spine Neck Head Clavicle UpperArm Forearm Hand Finger Thigh Calf Foot Toe Tail Hair "
        "Twist Eye Nub",
        ("L", "R"),
        lambda w, s: f"Bip01 {s + ' ' if s else ''}{w}",
        first_bare=True,
    ),
    _habit(
        "joints",
        "root_jnt hip_jnt spine_jnt chest_jnt neck_jnt head_jnt clav_jnt shoulder_jnt elbow_jnt wrist_jnt "
        "index_jnt hip_jnt "
        "knee_jnt ankle_jnt ball_jnt tail_jnt hair_jnt twist_jnt eye_jnt end_jnt",
        ("L", "R"),
        _before("_"),
        numbers=lambda i: f"{i + 1:02d}",
    ),
    _habit(
        "glued",
        "root root lowerback thorax neck head clavicle humerus radius hand finger femur tibia foot toes tail "
        "hair twist eye end",
        ("l", "r"),
        _before(""),
    ),
    _habit(
        "german",
        "Wurzel Becken Wirbelsäule Brust Hals Kopf Schlüsselbein Oberarm Unterarm Hand Finger Oberschenkel "
        "Unterschenkel Fuß "
        "Zehen Schwanz Haar Drehung Auge Ende",
        ("links", "rechts"),
        _after("_"),
    ),
    _habit(
        "french",
        "racine bassin colonne poitrine cou tête clavicule bras avant-bras main doigt cuisse mollet pied orteils "
        "queue cheveux "
        "torsion oeil bout",
        ("G", "D"),
        _after("."),
    ),
    _habit(
        "spanish",
        "raiz cadera columna pecho cuello cabeza clavicula brazo antebrazo mano dedo muslo pantorrilla pie "
        "puntapie cola pelo "
        "giro ojo fin",
        ("izq", "der"),
        _after("_"),
    ),
    _habit(
        "italian",
        "radice bacino colonna torace collo testa clavicola braccio avambraccio mano dito coscia polpaccio piede "
        "punta coda "
        "capelli giro occhio fine",
        ("Sx", "Dx"),
        _after("_"),
    ),
    _habit(
        "portuguese",
        "raiz quadril coluna peito pescoço cabeça clavícula braço antebraço mão dedo coxa canela pé dedospe "
        "cauda cabelo giro "
        "olho fim",
        ("esq", "dir"),
        _after("_"),
    ),
    _habit(
        "russian",
        "корень таз позвоночник грудь шея голова ключица плечо предплечье кисть палец бедро голень стопа носок "
        "хвост волосы "
        "скрутка глаз конец",
        ("Л", "П"),
        _after("."),
    ),
    _habit(
        "translit",
        "koren taz pozvonochnik grud sheya golova klyuchitsa plecho predplechye kist palec bedro golen stopa "
        "nosok hvost volos "
        "skrutka glaz konec",
        ("lev", "prav"),
        _after("_"),
    ),
    _habit(
        "japanese",
        "全ての親 下半身 上半身 上半身2 首 頭 肩 腕 ひじ 手首 人指 足 ひざ 足首 つま先 尻尾 髪 捩 目 先",
        ("左", "右"),
        _before(""),
    ),
    _habit(
        "chinese",
        "根 骨盆 脊柱 胸 颈 头 锁骨 上臂 前臂 手 食指 大腿 小腿 脚 脚趾 尾巴 头发 扭 眼 末",
        ("左", "右"),
        _before(""),
    ),
    _habit(
        "short", "rt pel spn chs nck hd clv uarm larm hnd fng uleg lleg ft to tl hr tw ey en", ("L", "R"), _after("")
    ),
    _habit(
        "finnish",
        "juuri lantio selka rinta kaula paa solisluu olkavarsi kyynarvarsi kasi sormi reisi saari jalka varvas "
        "hanta hius kierto "
        "silma loppu",
        ("vas", "oik"),
        _after("_"),
        known=False,
    ),
    _habit(
        "hungarian",
        "gyoker medence gerinc mellkas nyak fej kulcscsont felkar alkar kez ujj comb labszar labfej labujj farok "
        "haj csavar "
        "szem vege",
        ("bal", "jobb"),
        _after("."),
        known=False,
    ),
    _habit(
        "swahili",
        "mzizi nyonga mgongo kifua shingo kichwa mtulinga mkonojuu mkonochini kiganja kidole paja muundi unyayo "
        "vidole mkia "
        "nywele zungusha jicho mwisho",
        ("L", "R"),
        _after("."),
        known=False,
    ),
    _habit(
        "codes", "x0 p0 s0 c0 n0 h0 k0 a0 b0 m0 f0 t0 u0 v0 w0 z0 q0 y0 o0 e0", ("L", "R"), _after("_"), known=False
    ),
)

#: Default names of a new bone in Blender, as New Data translation writes them; only numbers tell bones apart.
DEFAULTS = ("Bone", "ボーン", "Knochen", "骨骼", "Hueso", "Кость", "Os", "Osso")
