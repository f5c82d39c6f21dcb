"""What libraries of older versions kept in another way."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from posescore.terms import STATES, Position, State


def proposal_of_older(data: Mapping[str, object]) -> dict[str, object]:
    """Plain data of a proposal with the path that versions before kept in words as positions.

    Their sentences stay as they are: they call the athletes by their letters.
    """
    path = data.get("path")
    if not isinstance(path, list) or not any(isinstance(step, str) for step in path):
        return dict(data)
    found = [_STATE_OF.get(step) for step in path if isinstance(step, str)]
    states = [{"position": s.position, "upper": s.upper} for s in found if s is not None]
    return {**data, "path": states}


def _older_words(state: State) -> str:
    knee = state.position is Position.KNEE_ON_BELLY
    name = "knee-on-belly" if knee else state.position.replace("_", " ")
    where = "behind" if state.position is Position.BACK_CONTROL else "on top"
    return name if state.upper is None else f"{name}, {state.upper} {where}"


_STATE_OF: Final = {_older_words(state): state for state in STATES}
