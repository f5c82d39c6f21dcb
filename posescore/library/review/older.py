"""What libraries of older versions kept in another way."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, Final

from posescore.terms import STATES, Position, State


def proposal_of_older(data: Mapping[str, object]) -> dict[str, object]:
    """Plain data of a proposal with the path that versions before kept in words as positions.

    Their clauses carried marks of where each was read, which say nothing to anybody who reads a
    log: they go. Their sentences stay as they are: they call the athletes by their letters.
    """
    data = _unmarked(data)
    path = data.get("path")
    if not isinstance(path, list) or not any(isinstance(step, str) for step in path):
        return dict(data)
    found = [_STATE_OF.get(step) for step in path if isinstance(step, str)]
    states = [{"position": s.position, "upper": s.upper} for s in found if s is not None]
    return {**data, "path": states}


def _unmarked(data: Mapping[str, object]) -> dict[str, object]:
    """The clauses of a proposal and of its criteria as they are printed."""
    made: dict[str, Any] = dict(data)
    if isinstance(made.get("clause"), str):
        made["clause"] = _MARK.sub("", made["clause"])
    if isinstance(made.get("criteria"), list):
        made["criteria"] = [
            _unmarked(each) if isinstance(each, dict) else each for each in made["criteria"]
        ]
    return made


_MARK: Final = re.compile(r"\s*\[[^\]]*\]")


def _older_words(state: State) -> str:
    knee = state.position is Position.KNEE_ON_BELLY
    name = "knee-on-belly" if knee else state.position.replace("_", " ")
    where = "behind" if state.position is Position.BACK_CONTROL else "on top"
    return name if state.upper is None else f"{name}, {state.upper} {where}"


_STATE_OF: Final = {_older_words(state): state for state in STATES}
