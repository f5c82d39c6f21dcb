"""Holds while a log is replayed: laid over, swapped, moved, made one of two. Pure functions.

The outcome of an edit of holds is a :class:`posescore.library.review.entries.Stretch`: all holds in
the part of the footage that it touched. Laying the stretch over the holds it was made on is the
edit; laying it over the holds of another analysis keeps what the person said and clips what the
program says around it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from posescore.holds.hold import Hold
from posescore.library.review.entries import ReviewHold, Stretch

Holds = Sequence[ReviewHold]

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
                kept.append(moved(held, start_s, end_s))
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
        middle = moved(held, *inside)
        other = replace(middle.hold, upper=middle.hold.upper and middle.hold.upper.other)
        turned.extend(
            part
            for part in (
                moved(held, hold.start_s, inside[0]),
                touched(held, other),
                moved(held, inside[1], hold.end_s),
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
            joined[-1] = one_of(before, held, before)
        else:
            joined.append(held)
    return joined


def moved(held: ReviewHold, start_s: float, end_s: float) -> ReviewHold:
    """The hold over another stretch; itself where nothing changes, empty where nothing is left."""
    if (start_s, end_s) == (held.hold.start_s, held.hold.end_s):
        return held
    return touched(held, replace(held.hold, start_s=start_s, end_s=max(start_s, end_s)))


def one_of(first: ReviewHold, second: ReviewHold, kept: ReviewHold) -> ReviewHold:
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
