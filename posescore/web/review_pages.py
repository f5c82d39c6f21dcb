"""The pages of one match: its review, the second opinions, and the lesson."""

from __future__ import annotations

from nicegui.element import Element

from posescore.terms import BONES


class _OfMatch(Element):
    """A component that shows the footage of one match."""

    def __init__(self, match_id: int) -> None:
        super().__init__()
        self._props["match-id"] = match_id
        self._props["bones"] = [list(bone) for bone in BONES]


class ReviewRoom(_OfMatch, component="review_room.js"):
    """Footage, skeletons, strip, proposals and score of one match.

    ``opinion`` names whose independent review it is; "" is the shared log.
    """

    def __init__(self, match_id: int, opinion: str = "") -> None:
        super().__init__(match_id)
        self._props["opinion"] = opinion


class OpinionRoom(_OfMatch, component="opinion_room.js"):
    """Two reviews of one match side by side, and what was settled between them."""

    def __init__(self, match_id: int, one: str = "", other: str = "") -> None:
        super().__init__(match_id)
        self._props["first"] = one
        self._props["second"] = other


class LessonRoom(_OfMatch, component="lesson_room.js"):
    """One match for a class or for parents: plays, pauses and explains; nothing can be changed."""
