# SPDX-License-Identifier: GPL-3.0-or-later
"""Where a character's card is kept in a file: on its armature object, and for a library override on the scene.

Blender (4.2 to 5.2) drops, as it saves, every custom property that an override has and its library has not. What the
library's armature carries holds until the shot says otherwise.
"""

import json
from typing import Any

#: The custom property of an armature object in which its card is kept, as JSON text.
CARD_PROPERTY = "plumbline_card"
#: The custom property of a scene in which the cards of overrides are kept: JSON text, from objects' names to cards'.
SCENE_PROPERTY = "plumbline_cards"


def text_of(scene: Any, armature: Any) -> Any:
    """What is kept for an armature object: text as a rule, anything where a person wrote it, or None."""
    own = _of_overrides(scene).get(armature.name) if armature.override_library is not None else None
    return own if own is not None else armature.get(CARD_PROPERTY)


def keep(scene: Any, armature: Any, text: str) -> None:
    """Keeps a card's text for an armature object. Call it from operators only."""
    if armature.override_library is None or scene.library is not None:
        armature[CARD_PROPERTY] = text
    else:
        scene[SCENE_PROPERTY] = json.dumps({**_of_overrides(scene), armature.name: text}, sort_keys=True)


def _of_overrides(scene: Any) -> dict[str, Any]:
    text = scene.get(SCENE_PROPERTY)
    try:
        found = json.loads(text) if isinstance(text, str) else {}
    except ValueError:
        return {}
    return found if isinstance(found, dict) else {}
