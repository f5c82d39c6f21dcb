"""Edits of holds as pure functions: the holds before, an edit, and the stretch it leaves behind.

An edit's outcome is a :class:`Stretch`: all holds in the part of the footage that it touched.
Laying the stretch over the holds it was made on is the edit; laying it over the holds of another
analysis keeps what the person said and clips what the program says around it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

from posescore.errors import ConflictError, InputError
from posescore.holds.hold import Check, Hold
from posescore.library.review.edits import (
    AddHold,
    Edge,
    Edit,
    Keep,
    Merge,
    NameStretch,
    Relabel,
    RemoveHold,
    SetCheck,
    SetEdge,
    Split,
)
from posescore.library.review.entries import ReviewHold, Stretch
from posescore.terms import Athlete, Position, State
from posescore.words import trade

Holds = Sequence[ReviewHold]

SHORTEST_S: Final = 0.01
"""No edit leaves a hold shorter than this: well under a frame at 60 frames a second."""
TOUCHING_S: Final = 1e-6
SLIVER_S: Final = 0.1
"""Rests of another analysis' holds beside a person's stretch are dropped when this short."""


def hold_key(hold: Hold) -> str:
    """Key of a hold: where it lies, to the millisecond, and what it is."""
    upper = f"-{hold.upper}" if hold.upper else ""
    return f"{hold.start_s * 1000:.0f}-{hold.end_s * 1000:.0f}-{hold.position}{upper}"


def seen(hold: Hold) -> ReviewHold:
    """A hold nobody touched yet."""
    return ReviewHold(hold_key(hold), hold)


def touched(before: ReviewHold, hold: Hold, named: bool | None = None) -> ReviewHold:
    """A hold that a person made out of another."""
    return ReviewHold(hold_key(hold), hold, True, before.named if named is None else named)


def laid_over(holds: Holds, stretch: Stretch) -> list[ReviewHold]:
    """The holds with a person's stretch in their place; what sticks out of it on a side stays."""
    kept: list[ReviewHold] = []
    for held in holds:
        hold = held.hold
        if hold.end_s <= stretch.start_s or hold.start_s >= stretch.end_s:
            kept.append(held)
            continue
        for start_s, end_s in ((hold.start_s, stretch.start_s), (stretch.end_s, hold.end_s)):
            if end_s - start_s > SLIVER_S:
                kept.append(_moved(held, start_s, end_s))
    kept.extend(stretch.holds)
    return sorted(kept, key=lambda held: held.hold.start_s)


def swapped(holds: Holds, start_s: float, end_s: float) -> list[ReviewHold]:
    """The holds with A and B exchanged inside a stretch, apart from those a person named."""
    turned: list[ReviewHold] = []
    for held in holds:
        hold = held.hold
        inside = max(hold.start_s, start_s), min(hold.end_s, end_s)
        if held.named or hold.upper is None or inside[1] - inside[0] <= TOUCHING_S:
            turned.append(held)
            continue
        middle = _moved(held, *inside)
        other = replace(middle.hold, upper=middle.hold.upper and middle.hold.upper.other)
        turned.extend(
            part
            for part in (
                _moved(held, hold.start_s, inside[0]),
                touched(held, other),
                _moved(held, inside[1], hold.end_s),
            )
            if part.hold.duration_s > TOUCHING_S
        )
    return _joined_at(turned, (start_s, end_s))


def _joined_at(holds: Holds, instants_s: tuple[float, float]) -> list[ReviewHold]:
    """Make one hold of two with the same state that touch at one of the instants."""
    joined: list[ReviewHold] = []
    for held in holds:
        before = joined[-1] if joined else None
        if (
            before is not None
            and before.hold.state == held.hold.state
            and before.named == held.named
            and abs(before.hold.end_s - held.hold.start_s) <= TOUCHING_S
            and any(abs(held.hold.start_s - at_s) <= TOUCHING_S for at_s in instants_s)
        ):
            joined[-1] = _one_of(before, held, before)
        else:
            joined.append(held)
    return joined


def _moved(held: ReviewHold, start_s: float, end_s: float) -> ReviewHold:
    """The hold over another stretch; itself where nothing changes, empty where nothing is left."""
    if (start_s, end_s) == (held.hold.start_s, held.hold.end_s):
        return held
    return touched(held, replace(held.hold, start_s=start_s, end_s=max(start_s, end_s)))


def _one_of(first: ReviewHold, second: ReviewHold, kept: ReviewHold) -> ReviewHold:
    """One hold over both. Confidence is the mean by duration where both name the same state."""
    a, b = first.hold, second.hold
    confidence = kept.hold.confidence
    checks = kept.hold.checks
    if a.state == b.state:
        total_s = a.duration_s + b.duration_s
        confidence = (a.confidence * a.duration_s + b.confidence * b.duration_s) / total_s
        checks = max(a, b, key=lambda hold: hold.duration_s).checks
    whole = replace(
        kept.hold, start_s=a.start_s, end_s=b.end_s, confidence=confidence, checks=checks
    )
    return touched(kept, whole)


# One function per edit ---------------------------------------------------------------------------
def _index(holds: Holds, key: str) -> int:
    for index, held in enumerate(holds):
        if held.key == key:
            return index
    raise ConflictError(f"hold {key} is no longer there: look at the match again.")


def _inside(time_s: float, end_s: float, field: str) -> None:
    if not 0 <= time_s <= end_s:
        raise InputError(f"{field}: {time_s:g} s is outside the footage, 0 to {end_s:.3f} s.")


def _state(position: Position, upper: Athlete | None) -> State:
    if position.has_upper and upper is None:
        raise InputError(f"upper: say who is on top or behind in {trade(position)}, A or B.")
    if upper is not None and not position.has_upper:
        raise InputError(f"upper: nobody is on top in {trade(position)}; leave it out.")
    return State(position, upper)


def _set_edge(holds: Holds, edit: SetEdge, end_s: float) -> Stretch:
    _inside(edit.to_s, end_s, "to_s")
    index = _index(holds, edit.hold)
    held, at_end = holds[index], edit.edge is Edge.END
    hold, to_s = held.hold, edit.to_s
    before_s = hold.end_s if at_end else hold.start_s
    if to_s == before_s:
        raise InputError(f"to_s: the {edit.edge} of the hold is at {to_s:g} s already.")
    whole = (hold.start_s, to_s) if at_end else (to_s, hold.end_s)
    if whole[1] - whole[0] < SHORTEST_S:
        raise InputError(f"to_s: {to_s:g} s leaves nothing of the hold; remove it instead.")
    changed = [_moved(held, *whole)]
    beside = index + (1 if at_end else -1)
    if 0 <= beside < len(holds):
        changed += _pushed(holds[beside], before_s, to_s, at_end)
    changed.sort(key=lambda each: each.hold.start_s)
    return Stretch(
        min(hold.start_s, changed[0].hold.start_s), max(hold.end_s, changed[-1].hold.end_s),
        tuple(changed),
    )  # fmt: skip


def _pushed(neighbour: ReviewHold, before_s: float, to_s: float, at_end: bool) -> list[ReviewHold]:
    """The neighbour of a moved edge where it moves along, else nothing."""
    hold = neighbour.hold
    edge_s = hold.start_s if at_end else hold.end_s
    overrun = to_s > edge_s if at_end else to_s < edge_s
    if abs(edge_s - before_s) > TOUCHING_S and not overrun:
        return []
    whole = (to_s, hold.end_s) if at_end else (hold.start_s, to_s)
    if whole[1] - whole[0] < SHORTEST_S:
        raise InputError(f"to_s: {to_s:g} s leaves nothing of the neighbour; remove it first.")
    return [_moved(neighbour, *whole)]


def _split(holds: Holds, edit: Split, end_s: float) -> Stretch:
    held = holds[_index(holds, edit.hold)]
    hold = held.hold
    if min(edit.at_s - hold.start_s, hold.end_s - edit.at_s) < SHORTEST_S:
        raise InputError(
            f"at_s: {edit.at_s:g} s is not inside the hold, {hold.start_s:g} to {hold.end_s:g} s."
        )
    parts = (
        touched(held, replace(hold, end_s=edit.at_s)),
        touched(held, replace(hold, start_s=edit.at_s)),
    )
    return Stretch(hold.start_s, hold.end_s, parts)


def _merge(holds: Holds, edit: Merge, end_s: float) -> Stretch:
    index = _index(holds, edit.first)
    if _index(holds, edit.second) != index + 1:
        raise InputError("second: only a hold and the one that follows it can be merged.")
    first, second = holds[index], holds[index + 1]
    merged = _one_of(first, second, first if edit.keep is Keep.FIRST else second)
    return Stretch(first.hold.start_s, second.hold.end_s, (merged,))


def _relabel(holds: Holds, edit: Relabel, end_s: float) -> Stretch:
    held = holds[_index(holds, edit.hold)]
    state = _state(edit.position, edit.upper)
    hold = replace(
        held.hold,
        position=state.position,
        upper=state.upper,
        confidence=1.0,
        checks=held.hold.checks if held.hold.state == state else (),
    )
    return Stretch(hold.start_s, hold.end_s, (touched(held, hold, named=True),))


def _add_hold(holds: Holds, edit: AddHold, end_s: float) -> Stretch:
    _inside(edit.start_s, end_s, "start_s")
    _inside(edit.end_s, end_s, "end_s")
    if edit.end_s - edit.start_s < SHORTEST_S:
        raise InputError(f"end_s: {edit.end_s:g} s must come after start_s, {edit.start_s:g} s.")
    state = _state(edit.position, edit.upper)
    for held in holds:
        if held.hold.start_s < edit.end_s and edit.start_s < held.hold.end_s:
            raise ConflictError(f"hold {held.key} lies in that stretch: edit it instead.")
    hold = Hold(edit.start_s, edit.end_s, state.position, state.upper)
    return Stretch(edit.start_s, edit.end_s, (touched(seen(hold), hold, named=True),))


def _name_stretch(holds: Holds, edit: NameStretch, end_s: float) -> Stretch:
    _inside(edit.start_s, end_s, "start_s")
    _inside(edit.end_s, end_s, "end_s")
    if edit.end_s - edit.start_s < SHORTEST_S:
        raise InputError(f"end_s: {edit.end_s:g} s must come after start_s, {edit.start_s:g} s.")
    state = _state(edit.position, edit.upper)
    if state.position is Position.SCRAMBLE:
        return Stretch(edit.start_s, edit.end_s, ())
    alike = [
        held
        for held in holds
        if held.hold.state == state
        and held.hold.start_s <= edit.end_s + TOUCHING_S
        and held.hold.end_s >= edit.start_s - TOUCHING_S
    ]
    longest = max(alike, key=lambda held: held.hold.duration_s, default=None)
    whole = Hold(
        min([edit.start_s, *(held.hold.start_s for held in alike)]),
        max([edit.end_s, *(held.hold.end_s for held in alike)]),
        state.position,
        state.upper,
        1.0,
        longest.hold.checks if longest else (),
    )
    return Stretch(whole.start_s, whole.end_s, (touched(seen(whole), whole, named=True),))


def _remove_hold(holds: Holds, edit: RemoveHold, end_s: float) -> Stretch:
    hold = holds[_index(holds, edit.hold)].hold
    return Stretch(hold.start_s, hold.end_s, ())


def _set_check(holds: Holds, edit: SetCheck, end_s: float) -> Stretch:
    held = holds[_index(holds, edit.hold)]
    checks = tuple(check for check in held.hold.checks if check.name is not edit.check)
    if edit.value is not None:
        checks += (Check(edit.check, edit.value, 1.0, "as a person saw it"),)
    if checks == held.hold.checks:
        raise InputError(f"value: {edit.check} is that already.")
    hold = replace(held.hold, checks=checks)
    return Stretch(hold.start_s, hold.end_s, (touched(held, hold),))


_EDITS: Final[Mapping[type[Edit], Callable[[Holds, Any, float], Stretch]]] = {
    SetEdge: _set_edge,
    Split: _split,
    Merge: _merge,
    Relabel: _relabel,
    AddHold: _add_hold,
    RemoveHold: _remove_hold,
    NameStretch: _name_stretch,
    SetCheck: _set_check,
}


def edits_holds(edit: Edit) -> bool:
    """True for an edit whose outcome is a stretch of holds."""
    return type(edit) in _EDITS


def stretch_of(holds: Holds, edit: Edit, end_s: float) -> Stretch:
    """What an edit of holds leaves behind; ``end_s`` is the end of the footage.

    Raises
    ------
    InputError
        When the edit makes no sense for that hold.
    ConflictError
        When the hold is no longer there, or the stretch is taken.
    """
    return _EDITS[type(edit)](holds, edit, end_s)
