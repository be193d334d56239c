# SPDX-License-Identifier: GPL-3.0-or-later
"""Characters' cards on their armatures: found, written with undo, and which of several wins."""

from functools import lru_cache
from pathlib import Path
from typing import Any

import bpy

from ..core.card import Card, CardError
from ..core.shot import Character
from . import session, settings
from .sampling import kept_cards
from .translation import iface_, rpt_


def refusal(context: Any) -> str:
    """Why there is no character to keep something on, or ''."""
    checked = session.of(context.scene) if context.scene else None
    if checked is None or checked.shot is None:
        return rpt_("Check the shot first, so that characters are known")
    return ""


def character_named(context: Any, name: str) -> Character | None:
    """The character of the last check with this name, the only one where the name is ''."""
    checked = session.of(context.scene)
    characters = checked.shot.characters if checked is not None and checked.shot is not None else ()
    if not name:
        return characters[0] if len(characters) == 1 else None
    return next((c for c in characters if c.name == name), None)


def armature_of(context: Any, character: Character) -> Any:
    """The armature object that carries the character's card, whatever it is called now; None where it is gone."""
    checked = session.of(context.scene)
    uid = checked.uids.get(character.name) if checked is not None else None
    return next((o for o in bpy.data.objects if o.session_uid == uid), None)


def card_on(operator: Any, context: Any, name: str) -> Card | None:
    """The card of the character with this name, to be changed and kept; None, and said why, where there is none."""
    character = character_named(context, name)
    if character is None:
        operator.report({"WARNING"}, "There is no such character; check the shot again")
        return None
    rig = armature_of(context, character)
    if rig is None or rig.library is not None:
        operator.report(
            {"WARNING"}, rpt_("{:s} is linked or gone: make a library override of it first").format(character.name)
        )
        return None
    try:
        text = kept_cards.text_of(context.scene, rig)
        return Card.read(text) if isinstance(text, str) else character.card
    except CardError as error:
        operator.report({"WARNING"}, rpt_("The card on {:s} is left as it is: {:s}").format(rig.name, str(error)))
        return None


def keep_card(operator: Any, context: Any, name: str, card: Card) -> Any:
    """Writes the card onto the character's armature; this character's notes are stale. For operators."""
    character = character_named(context, name)
    rig = armature_of(context, character) if character is not None else None
    if rig is None:
        operator.report({"WARNING"}, "There is no such character; check the shot again")
        return {"CANCELLED"}
    kept_cards.keep(context.scene, rig, card.write())
    session.see_cards(context.scene)
    return {"FINISHED"}


def shown_character(context: Any) -> Character | None:
    """The character whose card the panel shows: the chosen one, else that of the active armature, else that of the
    selected note, else the first of the last check."""
    checked = session.of(context.scene) if context.scene is not None else None
    characters = checked.shot.characters if checked is not None and checked.shot is not None else ()
    if checked is None or not characters:
        return None
    active = context.view_layer.objects.active if context.view_layer is not None else None
    posed = next((name for name, uid in checked.uids.items() if active is not None and uid == active.session_uid), "")
    note = session.active(context.scene, settings.active_number(context))
    for name in (settings.state(context).card_of, posed, note.character if note is not None else ""):
        found = next((c for c in characters if c.name == name), None)
        if found is not None:
            return found
    return characters[0]


def shown_card(context: Any, character: Character) -> tuple[Card, str]:
    """The card that holds now, and where it comes from in words; cheap enough for drawing."""
    rig = armature_of(context, character)
    text = kept_cards.text_of(context.scene, rig) if rig is not None else None
    if isinstance(text, str) and text:
        try:
            return _read(text), iface_("Card on the armature {:s}").format(rig.name)
        except CardError as error:
            return Card(), str(error)
    if character.card != Card():
        return character.card, iface_("Card from the folder of studio cards")
    return Card(), iface_("No card: all is found by itself")


@lru_cache(maxsize=16)
def _read(text: str) -> Card:
    """The card of a text, read once however often it is drawn."""
    return Card.read(text)


def studio_file(folder: str, name: str) -> Path:
    """The file in which the studio's folder holds the card of the character with this name."""
    return Path(bpy.path.abspath(folder)) / f"{bpy.path.clean_name(name, replace='_')}.json"


def studio_card(folder: str, name: str) -> Card | None:
    """The card of this name in the studio's folder, which holds where the armature carries none; None where there is
    none. Raises CardError with a sentence where the file is no card."""
    if not folder:
        return None
    path = studio_file(folder, name)
    try:
        return Card.read(path.read_text("utf-8"))
    except FileNotFoundError:
        return None
    except (OSError, UnicodeDecodeError) as error:
        raise CardError(f"the file cannot be read: {error}") from None
    except CardError as error:
        raise CardError(f"{path.name} in the folder of studio cards: {error}") from None
