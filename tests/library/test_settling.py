"""Two opinions differ; a person settles it; the log keeps all three."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from posescore.errors import ConflictError, InputError, NotFoundError
from posescore.holds.hold import Hold
from posescore.library.library import Library
from posescore.library.match import Match
from posescore.library.review.agreement import Agreement, compare_opinions
from posescore.library.review.edits import (
    AddAward,
    Change,
    Confirm,
    Dismiss,
    NameStretch,
    Relabel,
    Reopen,
    Settle,
    Taken,
)
from posescore.library.review.review import Review, Verdict
from posescore.library.review.settling import (
    settle_line,
    settle_stretch,
    settled_line,
    settled_stretch,
    settlements,
)
from posescore.library.review.stretches import laid_over, seen
from posescore.scoring.proposal import ProposalKind
from posescore.terms import STATES, Athlete, Interval, Position, State

Kept = tuple[Library, Match]
NAMES = ("Ann", "Ben")


def key_of(review: Review, kind: ProposalKind) -> str:
    return next(item.key for item in review.items if item.shown.kind is kind)


def compared(library: Library, match: Match) -> Agreement:
    return compare_opinions(library, match.id, *NAMES)


@pytest.fixture
def differing(kept: Kept) -> Kept:
    """Ann confirms the takedown, changes the mount, adds a sweep; Ben adds nothing."""
    library, match = kept
    review = library.review(match.id)
    takedown, mount = (key_of(review, k) for k in (ProposalKind.TAKEDOWN, ProposalKind.MOUNT))
    library.edit(match.id, Confirm(takedown), "Ann", "Ann")
    library.edit(match.id, Change(mount, "it was B", athlete=Athlete.B), "Ann", "Ann")
    sweep = AddAward(Athlete.B, ProposalKind.SWEEP, 47.1, 2)
    library.edit(match.id, sweep, "Ann", "Ann")
    library.edit(match.id, Dismiss(takedown, "on the knees"), "Ben", "Ben")
    library.edit(match.id, Confirm(mount), "Ben", "Ben")
    return library, match


def test_each_difference_is_settled_and_both_opinions_stay(differing: Kept) -> None:
    library, match = differing
    before = {name: library.review(match.id, name).items for name in NAMES}
    pairs = compared(library, match).award_differences
    assert len(pairs) == 3
    for pair, taken in zip(pairs, (Taken.ONE, Taken.OTHER, Taken.ONE), strict=True):
        line = pair.one_key or pair.other_key
        settle_line(library, match.id, NAMES, line, taken, "Crew")
    shared = library.review(match.id)
    awards = {item.award.kind: item.award for item in shared.items if item.award}
    assert awards[ProposalKind.TAKEDOWN].points == 2
    assert awards[ProposalKind.MOUNT].athlete is Athlete.A  # as Ben had it
    assert awards[ProposalKind.SWEEP].athlete is Athlete.B
    assert {name: library.review(match.id, name).items for name in NAMES} == before
    made = settlements(shared)
    assert [(each.by, each.taken_from) for each in made] == [
        ("Crew", "Ann"), ("Crew", "Ben"), ("Crew", "Ann"),
    ]  # fmt: skip
    for pair in compared(library, match).award_differences:  # they still differ, and it is settled
        assert settled_line(pair, NAMES, made) is not None
        assert settled_line(pair, ("Ben", "Ann"), made) is not None
        assert settled_line(pair, ("Ann", "Cleo"), made) is None
    assert "Ann" in (shared.item(key_of(shared, ProposalKind.TAKEDOWN)) or made).decision.reason  # type: ignore[union-attr]


def test_settled_again_the_other_way(differing: Kept) -> None:
    library, match = differing
    line = compared(library, match).award_differences[0].one_key
    settle_line(library, match.id, NAMES, line, Taken.ONE, "Crew")
    shared = settle_line(library, match.id, NAMES, line, Taken.OTHER, "Chief")
    item = shared.item(line)
    assert item is not None
    assert item.decision is not None
    assert item.decision.verdict is Verdict.DISMISSED
    (pair, *_) = compared(library, match).award_differences
    last = settled_line(pair, NAMES, settlements(shared))
    assert last is not None
    assert (last.by, last.taken_from) == ("Chief", "Ben")


def test_one_undo_takes_a_settlement_back(differing: Kept) -> None:
    library, match = differing
    before = library.review(match.id)
    line = compared(library, match).award_differences[0].one_key
    settle_line(library, match.id, NAMES, line, Taken.ONE, "Crew")
    after = library.undo(match.id, "Crew")
    assert after.items == before.items
    assert settlements(after) == ()
    assert len(settlements(library.redo(match.id, "Crew"))) == 1


def test_settled_as_the_shared_log_says_is_noted_alone(differing: Kept) -> None:
    library, match = differing
    line = compared(library, match).award_differences[0].one_key
    library.edit(match.id, Confirm(line), "Crew")
    before = library.review(match.id)
    shared = settle_line(library, match.id, NAMES, line, Taken.ONE, "Crew")
    assert shared.items == before.items
    assert settlements(shared)[-1].what.do is None
    shared = settle_line(library, match.id, NAMES, line, Taken.NEITHER, "Crew")
    assert shared.items == before.items
    assert settlements(shared)[-1].taken_from is None


def test_a_stretch_is_settled(kept: Kept) -> None:
    library, match = kept
    review = library.review(match.id)
    guard = next(h for h in review.holds if h.hold.position is Position.CLOSED_GUARD)
    other = Relabel(guard.key, Position.HALF_GUARD, Athlete.A)
    library.edit(match.id, other, "Ben", "Ben")
    library.edit(match.id, Confirm(review.items[0].key), "Ann", "Ann")
    (difference,) = compared(library, match).differences
    settle_stretch(library, match.id, NAMES, difference.interval, Taken.OTHER, "Crew")
    shared = library.review(match.id)
    at_s = difference.interval.start_s + 0.1
    (here,) = [h.hold for h in shared.holds if h.hold.interval.contains(at_s)]
    assert here.state == State(Position.HALF_GUARD, Athlete.A)
    assert settled_stretch(difference, NAMES, settlements(shared)) is not None
    with pytest.raises(NotFoundError, match="do not differ"):
        settle_stretch(library, match.id, NAMES, Interval(1, 2), Taken.ONE, "Crew")


def test_what_settles_nothing_is_refused(differing: Kept) -> None:
    library, match = differing
    with pytest.raises(NotFoundError):
        settle_line(library, match.id, NAMES, "no-such-line", Taken.ONE, "Crew")
    line = compared(library, match).award_differences[0].one_key
    for wrong in (
        Settle("Ann", "Ann", Taken.ONE, line),
        Settle("Ann", "Ben", Taken.ONE),
        Settle("Ann", "Ben", Taken.ONE, line, do=Reopen(line).to_json()),
    ):
        with pytest.raises(InputError):
            library.edit(match.id, wrong, "Crew")
    gone = Settle("Ann", "Ben", Taken.ONE, line, do=Confirm("gone").to_json())
    with pytest.raises(ConflictError):
        library.edit(match.id, gone, "Crew")


# Naming a stretch --------------------------------------------------------------------------------
EDGES = st.lists(st.integers(0, 60), min_size=2, max_size=9, unique=True).map(sorted)


@settings(max_examples=60)
@given(EDGES, st.data())
def test_a_named_stretch_is_that_and_nothing_else_moves(
    edges: list[int], data: st.DataObject
) -> None:
    draw = st.sampled_from(STATES)
    holds = [
        seen(Hold(float(a), float(b), state.position, state.upper))
        for a, b in pairwise(edges)
        if (state := data.draw(draw)).position is not Position.SCRAMBLE
    ]
    start_s, length_s = data.draw(st.integers(0, 55)), data.draw(st.integers(1, 5))
    state = data.draw(draw)
    edit = NameStretch(float(start_s), float(start_s + length_s), state.position, state.upper)
    after = laid_over(holds, edit.stretch(holds, 60.0))

    def at(held: list[object], time_s: float) -> State:
        found = [h.hold.state for h in held if h.hold.interval.contains(time_s)]  # type: ignore[attr-defined]
        assert len(found) <= 1
        return found[0] if found else State(Position.SCRAMBLE)

    for second in range(60):
        wanted = state if start_s <= second < start_s + length_s else at(list(holds), second + 0.5)
        assert at(list(after), second + 0.5) == wanted
