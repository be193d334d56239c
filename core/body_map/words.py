# SPDX-License-Identifier: GPL-3.0-or-later
"""The words of riggers in many languages, folded as names.fold does (lower case, no accents). Tables only."""

#: Side words that pair, left first; only names that differ by exactly such a pair get a side.
SIDES = (
    ("left", "right"), ("lft", "rgt"), ("lf", "rt"), ("lt", "rt"), ("links", "rechts"), ("gauche", "droite"), ("gauche", "droit"),
    ("izquierda", "derecha"), ("izquierdo", "derecho"), ("esquerda", "direita"),
    ("l", "r"), ("izq", "der"), ("esq", "dir"), ("esquerdo", "direito"), ("sinistra", "destra"), ("sinistro", "destro"), ("sx", "dx"),
    ("g", "d"), ("li", "re"), ("i", "d"), ("e", "d"), ("л", "п"), ("左", "右"), ("vanster", "hoger"), ("lewy", "prawy"),
    ("lewa", "prawa"), ("sol", "sag"), ("kiri", "kanan"), ("왼쪽", "오른쪽"), ("z", "d"), ("v", "h"),
)

#: Words that say nothing about the part.
NOISE = frozenset("""def deform bip bip01 biped mixamorig bone bones joint joints jnt j jt b sk skin skel skeleton base bn bind
drv org ccbase cc valvebiped rig character char body armature human bone geo grp mesh loc x c m mid center centre ctr f a
кость ボーン knochen hueso osso os 骨骼 骨 ossa cs s id no mb""".split())

#: Whole words of handles and helpers.
CONTROL = frozenset("""ik fk ctrl ctl con control controller controls pole target goal mch org vis orient tweak drv handle
legcontrol legorient ikgoal polevector pv steuerung control""".split())

LEAF = frozenset("end leaf nub endsite site tip effector topend eff null 先".split())

TWIST = frozenset("twist roll share split helper corrective bendy bbone twst volume rotate droll 捩 捩れ".split())

#: Face, hair, clothes, tails, props and fingers: never the top of a limb, never a limb's joint.
OTHER = frozenset("""face facial eye eyes eyeball brow eyebrow lid eyelid lip lips mouth jaw teeth tooth tongue nose nostril cheek chin
ear ears hair bang bangs fringe ponytail braid skirt cape cloak coat dress tail breast breasts boob bust fin horn antenna whisker
hat belt weapon sword shield prop forehead temple glute butt scarf tie ribbon feather gun bow quiver pocket strap bag handslot slot
holster pouch antler mane gill snout muzzle beak
finger fingers thumb index middle ring pinky pinkie little metacarpal carpal palm knuckle
haar haare auge augen ohr ohren kiefer zunge schwanz rock mantel finger daumen zeigefinger nase mund braue wange
cheveux oeil yeux oreille machoire langue queue jupe doigt pouce nez bouche joue sourcil
pelo cabello ojo ojos oreja mandibula lengua cola falda pulgar nariz boca
cabelo olho orelha lingua cauda saia polegar capelli occhio orecchio coda gonna dito pollice
глаз глаза ухо уши волосы хвост юбка палец пальцы челюсть язык нос рот бровь glaz uho hvost kolpak palec volos
髪 目 眉 耳 口 舌 スカート 指 親指 人指 中指 薬指 小指 尻尾 瞳 まぶた 頬 発 头发 眼 尾巴 裙 拇指 食指 牙 乳""".split())


def _table() -> dict[str, dict[str, float]]:
    exact = {
        "pelvis": """pelvis hips becken bassin bacino pelvi quadril bekken tazobedr таз taz 骨盆 骨盤 下半身 臀部 臀 髋部 髋骨 골반
            huften kalca biodra kyčle lowerbody boken backen hipsroot torsoroot""",
        "spine": """spine abdomen waist belly stomach lumbar lowerback lowerspine wirbelsaule ruckgrat bauch colonne columna
            columnavertebral espina coluna colonna schiena spina vertebra wirbel pozvonochnik позвоночник живот 脊椎 脊柱 背骨 上半身
            腹部 spinelower spinemid midspine spinemiddle lumbarspine ryggrad kregoslup omurga 척추 torso rucken dos espalda costas abdomen
            colonnevertebrale ventre спина spina""",
        "chest": """chest thorax ribcage ribs upperchest brust brustkorb poitrine torse thorace pecho torax peito petto torace
            грудь grud 胸 胸部 上半身2 胸腔 borst brost klatka gogus 가슴 upperbody upperspine spineupper thoracic грудная""",
        "neck": "neck hals nacken cou cuello pescoco collo шея sheya sheia sheja 首 颈 颈部 脖子 頸 nek szyja boyun 목 nuque",
        "head": """head kopf tete cabeza cabeca testa голова golova 頭 头 头部 頭部 skull hoofd huvud glowa bas kafa 머리 crane schadel
            """,
        "clavicle": """clavicle collar collarbone clav scapula schlusselbein clavicule clavicula clavicola ключица klyuchitsa klyuchica
            鎖骨 锁骨 肩膀 shoulderblade sleutelbeen nyckelben obojczyk kopruc 쇄골""",
        "upper_arm": """upperarm uparm uarm armupper bicep humerus oberarm brashaut brassup hautbras brassuperieur brazosuperior bracosuperior
            bracciosuperiore 上腕 上臂 大臂 bovenarm overarm ramie ustkol 위팔 brazoup armup shldr upperarmjoint""",
        "forearm": """forearm lowerarm larm lowarm armlower loarm elbow unterarm avantbras coude antebrazo antebraco codo cotovelo
            avambraccio gomito предплечье predplechye predplechie локоть lokot ひじ 肘 前腕 前臂 小臂 下臂 radius ulna ellbogen onderarm underarm
            przedramie onkol dirsek 팔꿈치 아래팔 forarm armdown elbowjoint 手肘 lokiec""",
        "hand": """hand wrist handgelenk main poignet mano muneca mao pulso polso кисть kist 手首 手 手掌 手腕 pols dlon el bilek 손 손목
            hnd paw handroot wristjoint""",
        "thigh": """thigh upleg uleg upperleg uppleg legupper femur oberschenkel cuisse muslo coxa coscia бедро bedro 太もも 大腿 上腿
            bovenbeen lar udo uyluk 허벅지 hipjoint legup upperlegjoint piernasuperior pernasuperior jambehaut thighjoint thg""",
        "shin": """shin calf lleg lowerleg lowleg leglower loleg knee tibia unterschenkel knie mollet genou pantorrilla espinilla rodilla
            canela joelho polpaccio ginocchio stinco голень golen колено koleno ひざ 膝 すね 小腿 脛 下腿 膝盖 onderbeen underben golen
            kolano diz baldir 무릎 정강이 legdown kneejoint gamba polpacio crus lorleg""",
        "foot": """foot feet ankle fuss knochel pied cheville pie tobillo pe tornozelo piede caviglia стопа stopa ступня stupnya
            足首 脚 脚踝 踝 足部 voet enkel fot stopa ayak 발 발목 anklejoint hoof footjoint ft""",
        "toe": """toe toes toebase ball ballfoot zehe zehen fussspitze fussballen orteil orteils pointe pointepied dedospie puntapie
            dedosdelpie つま先 足先 脚趾 脚尖 носок nosok teen ta palce parmak 발가락 toejoint football punta puntapiede dedosdope toese""",
    }
    table: dict[str, dict[str, float]] = {w: {part: 3.0} for part, words in exact.items() for w in words.split()}
    table["hip"] = {"pelvis": 3.0}
    doubtful = {
        "arm": {"upper_arm": 1.5, "forearm": 0.5}, "bras": {"upper_arm": 1.5}, "brazo": {"upper_arm": 1.5}, "braco": {"upper_arm": 1.5},
        "braccio": {"upper_arm": 1.5}, "腕": {"upper_arm": 1.5}, "рука": {"upper_arm": 1.2, "hand": 0.8},
        "ruka": {"upper_arm": 1.2, "hand": 0.8}, "плечо": {"upper_arm": 1.5, "clavicle": 1.2}, "plecho": {"upper_arm": 1.5, "clavicle": 1.2},
        "leg": {"thigh": 1.2, "shin": 1.4}, "bein": {"thigh": 1.2, "shin": 1.0}, "jambe": {"shin": 1.5, "thigh": 1.0},
        "pierna": {"shin": 1.4, "thigh": 1.2}, "perna": {"shin": 1.4, "thigh": 1.2}, "gamba": {"shin": 1.5, "thigh": 1.0},
        "нога": {"thigh": 1.2, "shin": 0.9}, "noga": {"thigh": 1.2, "shin": 0.9}, "腿": {"thigh": 1.5}, "足": {"thigh": 1.2, "foot": 1.0},
        "shoulder": {"clavicle": 1.5, "upper_arm": 1.3}, "schulter": {"clavicle": 1.5, "upper_arm": 1.2},
        "epaule": {"clavicle": 1.5, "upper_arm": 1.2}, "hombro": {"clavicle": 1.5, "upper_arm": 1.2}, "ombro": {"clavicle": 1.5, "upper_arm": 1.2},
        "spalla": {"clavicle": 1.5, "upper_arm": 1.2}, "肩": {"clavicle": 1.5, "upper_arm": 1.0}, "肩关节": {"upper_arm": 1.5},
        "hufte": {"pelvis": 1.5, "thigh": 1.2}, "hanche": {"pelvis": 1.5, "thigh": 1.2}, "hanches": {"pelvis": 3.0},
        "cadera": {"pelvis": 1.5, "thigh": 1.2}, "caderas": {"pelvis": 3.0}, "腰": {"pelvis": 1.5, "spine": 0.8}, "anca": {"pelvis": 1.5, "thigh": 1.2},
        "wrist": {"hand": 2.0}, "wristjoint": {"hand": 2.0}, "back": {"spine": 1.2}, "upperback": {"chest": 2.0}, "torso": {"spine": 1.6},
        "waist": {"spine": 2.0, "pelvis": 0.8}, "lowerbody": {"pelvis": 2.0}, "upperbody": {"chest": 1.2, "spine": 1.2}, "hand": {"hand": 3.0},
        "上半身": {"spine": 1.5, "chest": 1.0}, "pecho": {"chest": 3.0}, "tibia": {"shin": 3.0}, "gaskin": {"shin": 2.5}, "paw": {"hand": 1.0, "foot": 1.5},
        "hoof": {"foot": 0.8, "toe": 1.5, "hand": 0.5}, "pastern": {"toe": 1.5}, "cannon": {"foot": 1.5}, "el": {"hand": 0.5}, "ta": {"toe": 0.5},
        "bas": {"head": 0.5}, "lar": {"thigh": 0.5}, "ft": {"foot": 1.0}, "ball": {"toe": 2.5}, "pe": {"foot": 2.0}, "thg": {"thigh": 2.0},
        "main": {"hand": 2.0}, "dos": {"spine": 1.2}, "os": {"spine": 0.0}, "testa": {"head": 2.5}, "coxa": {"thigh": 2.5},
        "metatarsal": {"foot": 1.0, "toe": 1.0}, "tarsal": {"foot": 1.5},
    }
    table.update(doubtful)
    return table


PARTS_OF = _table()
