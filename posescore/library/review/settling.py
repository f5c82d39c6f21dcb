"""Settle what two opinions differ on: the shared log takes one answer, both opinions stay.

A settled difference is one entry of the shared log
(:class:`posescore.library.review.edits.Settle`): who settled what between whom, when, and the edit
that makes the shared log say so.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from posescore.errors import NotFoundError
from posescore.library.library import Library
from posescore.library.review.agreement import (
    Agreement,
    AwardPair,
    PositionDifference,
    compare_opinions,
)
from posescore.library.review.decisions import SAME_AWARD_S
from posescore.library.review.edits import (
    AddAward,
    Change,
    Confirm,
    Dismiss,
    Edit,
    NameStretch,
    Settle,
    Taken,
)
from posescore.library.review.review import Review, ReviewItem, Verdict
from posescore.scoring.proposal import Proposal, ProposalKind
from posescore.terms import Interval, Position, State

SHARED: Final = ""
"""The opinion that everybody writes into, and that settled differences go to."""
SAME_EDGE_S: Final = 0.001


@dataclass(frozen=True, slots=True)
class Settlement:
    """One settled difference that is in force: who settled it, when, and for whom."""

    by: str
    made_at: datetime
    what: Settle

    @property
    def taken_from(self) -> str | None:
        """Name of the opinion that was taken; None for neither."""
        return {Taken.ONE: self.what.one, Taken.OTHER: self.what.other}.get(self.what.taken)


def settlements(shared: Review) -> tuple[Settlement, ...]:
    """Settled differences in the shared log, oldest first."""
    return tuple(
        Settlement(entry.author, entry.made_at, entry.edit)
        for entry in shared.entries
        if isinstance(entry.edit, Settle)
    )


def settled_line(
    pair: AwardPair, names: tuple[str, str], among: Iterable[Settlement]
) -> Settlement | None:
    """How a line was settled between two opinions, in whatever order they are named."""
    keys = {pair.one_key, pair.other_key} - {""}
    fitting = [each for each in among if each.what.line in keys and _between(each, names)]
    return fitting[-1] if fitting else None


def settled_stretch(
    difference: PositionDifference, names: tuple[str, str], among: Iterable[Settlement]
) -> Settlement | None:
    """How a stretch was settled: by one that covers all of it."""
    inside = difference.interval
    fitting = [
        each
        for each in among
        if each.what.stretch is not None
        and each.what.stretch.start_s <= inside.start_s + SAME_EDGE_S
        and each.what.stretch.end_s >= inside.end_s - SAME_EDGE_S
        and _between(each, names)
    ]
    return fitting[-1] if fitting else None


def _between(settlement: Settlement, names: tuple[str, str]) -> bool:
    return {settlement.what.one, settlement.what.other} == set(names)


# Settling -----------------------------------------------------------------------------------------
def settle_line(
    library: Library, match_id: int, names: tuple[str, str], line: str, taken: Taken, author: str
) -> Review:
    """Settle a line of the score log; gives the shared review.

    Raises
    ------
    NotFoundError
        When the two have no such line.
    ConflictError
        When the shared log was edited meanwhile so that it no longer fits.
    """
    found = compare_opinions(library, match_id, *names)
    pair = next((p for p in found.awards if line and line in (p.one_key, p.other_key)), None)
    if pair is None:
        raise NotFoundError(f"line {line!r} is in neither opinion: look at the match again.")
    shared = library.review(match_id, SHARED)
    do: Edit | None = None
    if taken is not Taken.NEITHER:
        name, key = (names[0], pair.one_key) if taken is Taken.ONE else (names[1], pair.other_key)
        wanted = library.review(match_id, name).item(key) if key else None
        here = _same_line(pair, _known(library, match_id, names, pair), shared)
        reason = f"Settled between {_called(names[0])} and {_called(names[1])}: as {_called(name)}."
        do = _towards(wanted, here, reason)
    made = Settle(*names, taken, line=line, do=None if do is None else do.to_json())
    return library.edit(match_id, made, author, SHARED)


def settle_stretch(
    library: Library,
    match_id: int,
    names: tuple[str, str],
    stretch: Interval,
    taken: Taken,
    author: str,
) -> Review:
    """Settle what stands in a stretch that two opinions name differently; gives the shared review.

    Raises
    ------
    NotFoundError
        When they do not differ in that stretch.
    """
    found = compare_opinions(library, match_id, *names)
    difference = _difference(found, stretch)
    do: Edit | None = None
    if taken is not Taken.NEITHER:
        state = difference.one if taken is Taken.ONE else difference.other
        if not _stands(library.review(match_id, SHARED), difference.interval, state):
            within = difference.interval
            do = NameStretch(within.start_s, within.end_s, state.position, state.upper)
    made = Settle(
        *names, taken, stretch=difference.interval, do=None if do is None else do.to_json()
    )
    return library.edit(match_id, made, author, SHARED)


def _difference(found: Agreement, stretch: Interval) -> PositionDifference:
    for each in found.differences:
        edges = (each.interval.start_s - stretch.start_s, each.interval.end_s - stretch.end_s)
        if all(abs(off_s) <= SAME_EDGE_S for off_s in edges):
            return each
    raise NotFoundError(
        f"the two do not differ from {stretch.start_s:g} to {stretch.end_s:g} s: compare again."
    )


def _stands(shared: Review, stretch: Interval, state: State) -> bool:
    """True where the shared log names the whole stretch so already."""
    here = [h.hold for h in shared.holds if h.hold.interval.overlap_s(stretch) > SAME_EDGE_S]
    if state.position is Position.SCRAMBLE:
        return all(hold.position is Position.SCRAMBLE for hold in here)
    named_s = sum(h.interval.overlap_s(stretch) for h in here if h.state == state)
    return named_s >= stretch.duration_s - SAME_EDGE_S


def _called(name: str) -> str:
    return name or "the shared log"


def _known(
    library: Library, match_id: int, names: tuple[str, str], pair: AwardPair
) -> ReviewItem | None:
    """The line as either has it, for finding it again in the shared log."""
    keys = zip(names, (pair.one_key, pair.other_key), strict=True)
    items = (library.review(match_id, name).item(key) for name, key in keys if key)
    return next((item for item in items if item is not None), None)


def _same_line(pair: AwardPair, known: ReviewItem | None, shared: Review) -> ReviewItem | None:
    """The line in the shared log: by its key; an award that a person added, by what it is."""
    for key in (pair.one_key, pair.other_key):
        found = shared.item(key) if key else None
        if found is not None:
            return found
    if known is None or not known.added:
        return None
    alike = [
        item
        for item in shared.items
        if item.added
        and (item.shown.athlete, item.shown.kind) == (known.shown.athlete, known.shown.kind)
        and abs(item.shown.time_s - known.shown.time_s) <= SAME_AWARD_S
    ]
    return alike[0] if alike else None


def _towards(wanted: ReviewItem | None, here: ReviewItem | None, reason: str) -> Edit | None:
    """The edit that makes the shared log's line say what is wanted; None where it does already."""
    award = None if wanted is None else wanted.award
    if award is None:
        standing = here is not None and (here.decision is None or here.award is not None)
        return Dismiss(here.key, reason) if standing and here is not None else None
    if here is None:
        return _added(award, reason)
    if here.award is not None and _worth(here.award) == _worth(award):
        return None
    if (
        wanted is not None
        and wanted.decision is not None
        and wanted.decision.verdict is Verdict.CONFIRMED
        and here.proposal is not None
        and not here.added
        and _worth(here.proposal) == _worth(award)
    ):
        return Confirm(here.key, reason)
    return Change(
        here.key, reason, award.athlete, award.kind, award.points, award.advantage, award.time_s
    )


def _worth(award: Proposal) -> tuple[object, ...]:
    return award.athlete, award.kind, award.points, award.advantage


def _added(award: Proposal, reason: str) -> Edit | None:
    """What is worth nothing needs no line of its own."""
    marks = award.points or award.advantage or award.kind is ProposalKind.PENALTY
    if award.athlete is None or not marks:
        return None
    return AddAward(
        award.athlete, award.kind, award.time_s, award.points, award.advantage, reason,
        award.evidence,
    )  # fmt: skip
