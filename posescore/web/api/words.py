"""The words of the pages."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter

from posescore.terms import Position
from posescore.words import WORDS


def word_router() -> APIRouter:
    """The endpoint for words."""
    router = APIRouter()

    @router.get("/words", summary="The words of the pages")
    def words() -> dict[str, Any]:
        """Kinds, positions, events and all else that the pages say, in the language in use."""
        without = [position for position in Position if not position.has_upper]
        return {**WORDS, "without_upper": without}

    return router
