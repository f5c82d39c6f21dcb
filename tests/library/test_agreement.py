"""Agreement of two opinions, held against scikit-learn's Cohen's kappa."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sklearn.metrics import cohen_kappa_score

from posescore.errors import InputError, NotFoundError
from posescore.library.library import Library
from posescore.library.match import Match
from posescore.library.review.agreement import (
    NOTHING,
    Agreement,
    agreement,
    compare_opinions,
    kappa,
)
from posescore.library.review.edits import (
    AddAward,
    Change,
    Confirm,
    Dismiss,
    Edge,
    Relabel,
    RemoveHold,
    SetEdge,
)
from posescore.library.review.review import Review
from posescore.scoring.proposal import ProposalKind
from posescore.terms import Athlete, Interval, Position, State

Kept = tuple[Library, Match]
LABELS = st.lists(st.tuples(st.sampled_from("abcd"), st.sampled_from("abcd")), min_size=1)


@given(LABELS, st.data())
def test_kappa_is_cohens(pairs: list[tuple[str, str]], data: st.DataObject) -> None:
    one, other = zip(*pairs, strict=True)
    size = len(pairs)
    weights = data.draw(st.lists(st.floats(0.01, 9), min_size=size, max_size=size))
    for weight in (None, weights):
        ours = kappa(pairs, weight)
        if len({*one, *other}) == 1:
            assert ours is None
        else:
            theirs = cohen_kappa_score(one, other, sample_weight=weight)
            assert ours == pytest.approx(theirs, abs=1e-9)


def test_kappa_of_a_textbook_table() -> None:
    """Two raters of 50 cases agree on 0.7 of them, and would on 0.5 by chance."""
    table = {("y", "y"): 20, ("y", "n"): 5, ("n", "y"): 10, ("n", "n"): 15}
    assert kappa(list(table), [float(n) for n in table.values()]) == pytest.approx(0.4)
    assert kappa([]) is None


def second(library: Library, match: Match, opinion: str = "Ben") -> Review:
    return library.review(match.id, opinion)


def key_of(review: Review, kind: ProposalKind) -> str:
    return next(item.key for item in review.items if item.shown.kind is kind)


def hold_of(review: Review, position: Position) -> str:
    return next(held.key for held in review.holds if held.hold.position is position)


def compared(library: Library, match: Match) -> Agreement:
    return compare_opinions(library, match.id, "", "Ben")


def test_who_edits_nothing_agrees(kept: Kept) -> None:
    library, match = kept
    review = library.review(match.id)
    whole = agreement(review, review)
    assert (whole.position_kappa, whole.same_position) == (1.0, 1.0)
    assert whole.award_kappa is None
    assert whole.differences == whole.award_differences == ()


def test_positions_that_differ(kept: Kept) -> None:
    library, match = kept
    review = second(library, match)
    mount, guard = hold_of(review, Position.MOUNT), hold_of(review, Position.CLOSED_GUARD)
    library.edit(match.id, Relabel(mount, Position.HALF_GUARD, Athlete.A), "Ben", "Ben")
    library.edit(match.id, SetEdge(guard, Edge.START, 8.7), "Ben", "Ben")
    found = compared(library, match)
    assert found.same_position == pytest.approx(1 - (7.5 + 0.3) / 60)
    assert [(each.interval, each.one, each.other) for each in found.differences] == [
        (
            Interval(28.5, 36.0),
            State(Position.MOUNT, Athlete.A),
            State(Position.HALF_GUARD, Athlete.A),
        )
    ]
    assert found.position_kappa == pytest.approx(_kappa_by_frames(library, match), abs=2e-3)


def _kappa_by_frames(library: Library, match: Match) -> float:
    """The same by brute force: a label every hundredth of a second."""
    labels = []
    for opinion in ("", "Ben"):
        holds = [held.hold for held in library.review(match.id, opinion).holds]
        labels.append([
            next((str(h.state) for h in holds if h.interval.contains(at_s)), "scramble")
            for at_s in np.arange(0.005, 60, 0.01)
        ])  # fmt: skip
    return float(cohen_kappa_score(*labels))


def test_awards_that_differ(kept: Kept) -> None:
    library, match = kept
    for opinion, said in (("", "Ann"), ("Ben", "Ben")):
        review = library.review(match.id, opinion)
        takedown, guard_pass, mount = (
            key_of(review, kind)
            for kind in (ProposalKind.TAKEDOWN, ProposalKind.GUARD_PASS, ProposalKind.MOUNT)
        )
        library.edit(match.id, Confirm(takedown), said, opinion)
        if opinion:
            library.edit(match.id, Dismiss(guard_pass, "not past the legs"), said, opinion)
            library.edit(match.id, Change(mount, athlete=Athlete.B), said, opinion)
        else:
            library.edit(match.id, Confirm(guard_pass), said, opinion)
        at_s = 47.0 + len(opinion)
        library.edit(match.id, AddAward(Athlete.B, ProposalKind.SWEEP, at_s, 2), said, opinion)
    found = compared(library, match)
    told = {pair.what: (pair.one, pair.other) for pair in found.awards}
    assert told["A takedown 2"] == ("A takedown 2", "A takedown 2")
    assert told["A guard_pass 3"] == ("A guard_pass 3", NOTHING)
    assert told["A mount 4"] == (None, "B mount 4")
    assert told["A back_control 4"] == (None, None)
    assert told["B sweep 2"] == ("B sweep 2", "B sweep 2"), "added by both, three seconds apart"
    assert [pair.what for pair in found.award_differences] == ["A guard_pass 3"]
    decided = [(pair.one, pair.other) for pair in found.awards if pair.decided]
    assert len(decided) == 3
    assert found.award_kappa == pytest.approx(cohen_kappa_score(*zip(*decided, strict=True)))
    plain = found.to_json()
    assert plain["one"] == "" and plain["other"] == "Ben"  # noqa: PT018


def test_a_line_that_is_gone_leaves_nothing_standing(kept: Kept) -> None:
    library, match = kept
    key = key_of(library.review(match.id), ProposalKind.BACK_CONTROL)
    library.edit(match.id, Confirm(key), "Ann")
    gone = hold_of(second(library, match), Position.BACK_CONTROL)
    library.edit(match.id, RemoveHold(gone), "Ben", "Ben")
    pair = next(p for p in compared(library, match).awards if p.what == "A back_control 4")
    assert (pair.one, pair.other) == ("A back_control 4", NOTHING)


def test_both_ways_say_the_same(kept: Kept) -> None:
    library, match = kept
    mount = hold_of(second(library, match), Position.MOUNT)
    library.edit(match.id, RemoveHold(mount), "Ben", "Ben")
    there = compare_opinions(library, match.id, "", "Ben")
    back = compare_opinions(library, match.id, "Ben", "")
    assert there.position_kappa == pytest.approx(back.position_kappa)
    assert {(p.time_s, p.one, p.other) for p in there.awards} == {
        (p.time_s, p.other, p.one) for p in back.awards
    }


def test_refusals(kept: Kept) -> None:
    library, match = kept
    with pytest.raises(NotFoundError, match="no opinion 'Cy': nobody has begun one"):
        compare_opinions(library, match.id, "", "Cy")
    with pytest.raises(InputError, match="name two"):
        compare_opinions(library, match.id, "", "")
    with pytest.raises(NotFoundError):
        compare_opinions(library, match.id + 1, "", "Ben")
