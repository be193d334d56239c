# SPDX-License-Identifier: GPL-3.0-or-later
"""Where a character's card is kept in a file: on its armature object, and for a library override on the scene.

Blender (4.2 to 5.2) drops, as it saves, every custom property that an override has and its library has not. What the
library's armature carries holds until the shot says otherwise. On the scene a card lies beside a pointer to its
armature object, so that it follows when that is renamed, and goes with the scene into another file; of an object that
is deleted the pointer is None.
"""

from typing import Any

#: The custom property of an armature object in which its card is kept, as JSON text.
CARD_PROPERTY = "plumbline_card"
#: The custom property of a scene in which the cards of overrides are kept: a group of groups, one a card, each of the
#: object OF and its card's text CARD.
SCENE_PROPERTY = "plumbline_cards"
OF, CARD = "of", "card"


def text_of(scene: Any, armature: Any) -> Any:
    """What is kept for an armature object: text as a rule, anything where a person wrote it, or None."""
    own = None
    if armature.override_library is not None:
        own = next((text for object, text in _of_overrides(scene) if object == armature), None)
    return own if own is not None else armature.get(CARD_PROPERTY)


def keep(scene: Any, armature: Any, text: str) -> None:
    """Keeps a card's text for an armature object. Call it from operators only."""
    if armature.override_library is None or scene.library is not None:
        armature[CARD_PROPERTY] = text
        return
    # an object that is in no scene any more would stay in the file for the pointer alone
    kept = [(o, card) for o, card in _of_overrides(scene) if o is not None and o != armature and o.users_scene]
    groups = {str(n): {OF: object, CARD: card} for n, (object, card) in enumerate([*kept, (armature, text)])}
    scene[SCENE_PROPERTY] = groups


def _of_overrides(scene: Any) -> list[tuple[Any, Any]]:
    """Object and text of each card that the scene keeps."""
    found = scene.get(SCENE_PROPERTY)
    groups = found.values() if hasattr(found, "values") else ()
    return [(group.get(OF), group.get(CARD)) for group in groups if hasattr(group, "keys")]
