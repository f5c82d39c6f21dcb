"""What a person sees: decisions outlast edits, keys stay, confirmed and proposed stay apart."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from posescore.errors import ConflictError, InputError
from posescore.holds.event import EventName, MatchEvent
from posescore.holds.hold import CheckName
from posescore.library.library import Library
from posescore.library.match import Match
from posescore.library.review.edits import (
    AddAward,
    AddEvent,
    AddHold,
    Change,
    Confirm,
    Dismiss,
    Edge,
    Edit,
    Merge,
    Relabel,
    RemoveEvent,
    RemoveHold,
    Reopen,
    SetCheck,
    SetEdge,
    Split,
    SwapAthletes,
)
from posescore.library.review.replay import replay, rules_named
from posescore.library.review.review import Review, ReviewItem
from posescore.library.review.stretches import hold_key
from posescore.scoring.proposal import ProposalKind, Tally
from posescore.terms import Position
from tests.library.samples import (
    EVENTS,
    HOLDS,
    INFO,
    A,
    B,
    analysis,
    library_with_match,
    long_holds,
)

Kept = tuple[Library, Match]
GUARD, SIDE, KNEE, MOUNT, BACK, HALF = (hold_key(hold) for hold in HOLDS[1:])


def line(review: Review, kind: ProposalKind) -> ReviewItem:
    (found,) = [
        each
        for each in review.items
        if kind in {p.would_be or p.kind for p in (each.proposal, each.shown) if p}
    ]
    return found


@pytest.fixture
def first(kept: Kept) -> Review:
    library, match = kept
    return library.review(match.id)


# The story as it comes ---------------------------------------------------------------------------
def test_nothing_is_confirmed_by_itself(first: Review) -> None:
    kinds = [item.shown.kind.value for item in first.items]
    assert kinds == [
        "takedown", "guard_pass", "knee_on_belly", "mount", "back_control", "none", "penalty",
    ]  # fmt: skip
    assert first.undecided == first.items
    assert all(item.award is None and item.status == "proposed" for item in first.items)
    assert dict(first.confirmed_score) == {A: Tally(), B: Tally()}
    # clauses 2.5.2: takedown 2, guard pass 3, knee-on-belly 2, mount 4, back control 4
    assert first.proposed_score[A].points == 15
    assert first.proposed_score[B].penalties == 1
    assert [held.hold for held in first.holds] == list(HOLDS)
    assert not any(held.edited for held in first.holds)


# Decisions ---------------------------------------------------------------------------------------
def test_confirm_change_dismiss_add_and_reopen(kept: Kept, first: Review) -> None:
    library, match = kept

    def do(edit: Edit) -> Review:
        return library.edit(match.id, edit, "Ann")

    mount, side = line(first, ProposalKind.MOUNT), line(first, ProposalKind.GUARD_PASS)
    assert do(Confirm(mount.key)).confirmed_score[A] == Tally(points=4)
    review = do(Dismiss(side.key, "never past the knee"))
    assert review.confirmed_score[A] == Tally(points=4)
    assert line(review, ProposalKind.GUARD_PASS).decision.reason == "never past the knee"  # type: ignore[union-attr]
    review = do(Change(side.key, award=ProposalKind.NEAR, points=0, advantage=1))
    changed = review.item(side.key)
    assert changed is not None
    assert changed.decision is not None
    assert changed.decision.replaces == review.entries[-2].id
    assert changed.proposal == side.proposal, "what the program proposed stays visible"
    assert (changed.shown.kind, changed.shown.advantage) == (ProposalKind.NEAR, 1)
    assert changed.shown.clause == rules_named(INFO.rules).clauses["advantage"]
    assert review.confirmed_score[A] == Tally(points=4, advantages=1)
    review = do(AddAward(B, ProposalKind.SWEEP, 47.2, 2, reason="from half guard"))
    added = next(item for item in review.items if item.added)
    assert review.confirmed_score[B] == Tally(points=2)
    assert added.shown.clause == "4.6"
    assert not added.vanished
    review = do(Change(added.key, athlete=A))
    assert review.confirmed_score == {A: Tally(6, 1), B: Tally()}
    assert review.item(added.key).status == "added"  # type: ignore[union-attr]
    review = do(Reopen(added.key))
    assert review.item(added.key) is None
    review = do(Reopen(side.key))
    assert line(review, ProposalKind.GUARD_PASS).decision is None
    assert review.confirmed_score[A] == Tally(points=4)


def test_a_confirmed_penalty_counts_by_the_ladder(kept: Kept) -> None:
    library, match = kept
    for at_s in (10.0, 20.0):
        review = library.edit(match.id, AddEvent(EventName.PENALTY, at_s, B), "Ann")
    marks = [
        item
        for item in review.items
        if item.shown.kind is ProposalKind.PENALTY and not item.shown.advantage
        and not item.shown.points
    ]  # fmt: skip
    assert len(marks) == 3
    for mark in marks[:2]:
        review = library.edit(match.id, Confirm(mark.key), "Ann")
    # restated from secondary pages: the second penalty gives the opponent an advantage
    assert review.confirmed_score == {A: Tally(advantages=1), B: Tally(penalties=2)}
    review = library.edit(match.id, AddAward(B, ProposalKind.PENALTY, 30.0), "Ann")
    assert review.confirmed_score[A] == Tally(points=2, advantages=1)


def test_a_marked_tap_decides_and_an_inferred_one_does_not(tmp_path: Path) -> None:
    tap = MatchEvent(57.0, EventName.TAP, A, 0.8)
    review = replay(analysis(events=(*EVENTS, tap)), [], rules_named(INFO.rules))
    assert review.proposed_result is not None
    assert (review.proposed_result.winner, review.proposed_result.by) == (B, "submission")
    assert review.confirmed_result is not None
    assert review.confirmed_result.by != "submission"


# Edits and what stays ----------------------------------------------------------------------------
def test_a_nudged_edge_keeps_decision_and_key(kept: Kept, first: Review) -> None:
    library, match = kept
    mount = line(first, ProposalKind.MOUNT)
    library.edit(match.id, Confirm(mount.key), "Ann")
    review = library.edit(match.id, SetEdge(MOUNT, Edge.START, 29.0), "Ann")
    after = line(review, ProposalKind.MOUNT)
    assert after.key == mount.key
    assert after.status == "confirmed"
    assert after.note == ""
    assert after.shown.time_s == 32.0, "three seconds from the new edge"
    assert review.holds[3].hold.end_s == 29.0, "the neighbour moves along"
    review = library.edit(match.id, SetEdge(BACK, Edge.START, 37.5), "Ann")
    moved = line(review, ProposalKind.BACK_CONTROL)
    assert (moved.shown.time_s, moved.status) == (40.5, "proposed")
    assert [item.key for item in review.items] == [item.key for item in first.items]


def test_a_decision_outlasts_the_proposal_it_was_made_on(kept: Kept, first: Review) -> None:
    library, match = kept
    key = line(first, ProposalKind.BACK_CONTROL).key
    library.edit(match.id, Confirm(key), "Ann")
    short = library.edit(match.id, SetEdge(BACK, Edge.END, 39.0), "Ann")
    item = short.item(key)
    assert item is not None
    assert item.proposal is not None
    assert (item.proposal.points, item.shown.points) == (0, 4)
    assert item.note.startswith("Confirmed as back control, 4 points; ")
    assert item.note.endswith("what is proposed now is back control, an advantage.")
    assert short.confirmed_score[A].points == 4, "a person's word stands until it is taken back"
    gone = library.edit(match.id, RemoveHold(short.holds[5].key), "Ann")
    item = gone.item(key)
    assert item is not None
    assert item.vanished
    assert "nothing is proposed here any more" in item.note
    assert gone.confirmed_score[A].points == 4
    with pytest.raises(ConflictError, match="no longer proposed"):
        library.edit(match.id, Confirm(key), "Ann")
    dismissed = library.edit(match.id, Dismiss(key, "one hook"), "Ann")
    assert dismissed.confirmed_score[A].points == 0
    for _ in range(3):
        back = library.undo(match.id, "Ann")
    assert back.item(key).note == ""  # type: ignore[union-attr]
    assert back.confirmed_score[A].points == 4


def test_a_relabelled_hold_is_the_persons_word(kept: Kept) -> None:
    library, match = kept
    review = library.edit(match.id, Relabel(MOUNT, Position.HALF_GUARD, A), "Ann")
    (held,) = [held for held in review.holds if held.edited]
    assert held.named
    assert (held.hold.confidence, held.hold.checks) == (1.0, ())
    assert all(item.shown.kind is not ProposalKind.MOUNT for item in review.items)
    same = library.edit(match.id, Relabel(KNEE, Position.KNEE_ON_BELLY, A), "Ann")
    knee = next(held.hold for held in same.holds if held.hold.position is Position.KNEE_ON_BELLY)
    assert knee.checks == HOLDS[3].checks, "the same position keeps what was seen of it"


def test_a_criterion_seen_by_a_person_recomputes_the_proposal(kept: Kept) -> None:
    library, match = kept
    review = library.edit(match.id, SetCheck(KNEE, CheckName.OTHER_KNEE_DOWN, True), "Ann")
    # clause 4.3: the other knee on the ground leaves an advantage
    knee = line(review, ProposalKind.KNEE_ON_BELLY)
    assert knee.proposal is not None
    assert (knee.proposal.points, knee.proposal.advantage) == (0, 1)


def test_split_and_merge_are_each_others_inverse(kept: Kept, first: Review) -> None:
    library, match = kept
    cut = library.edit(match.id, Split(BACK, 41.3), "Ann")
    assert [held.hold.duration_s for held in cut.holds[5:7]] == pytest.approx([4.3, 4.7])
    assert cut.proposed_score == first.proposed_score, "a cut alone changes no points"
    whole = library.edit(match.id, Merge(cut.holds[5].key, cut.holds[6].key), "Ann")
    assert [h.hold.state for h in whole.holds] == [h.state for h in HOLDS]
    assert whole.holds[5].hold.interval == HOLDS[5].interval
    assert whole.holds[5].hold.confidence == pytest.approx(HOLDS[5].confidence)


def test_marks_of_a_person_are_events_of_their_own(kept: Kept) -> None:
    library, match = kept
    review = library.edit(match.id, AddEvent(EventName.POSITION_GIVEN_UP, 36.0, A), "Ann")
    mine = next(x for x in review.events if x.entry_id)
    assert (mine.event.confidence, mine.entry_id) == (1.0, review.last_entry_id)
    with pytest.raises(ConflictError, match="already"):
        library.edit(match.id, AddEvent(EventName.POSITION_GIVEN_UP, 36.0, A), "Ben")
    review = library.edit(match.id, RemoveEvent(mine.key), "Ben")
    assert not [x for x in review.events if x.entry_id]


# Undo, redo, opinions ----------------------------------------------------------------------------
def test_a_new_edit_after_an_undo_clears_what_could_be_redone(kept: Kept, first: Review) -> None:
    library, match = kept
    library.edit(match.id, Confirm(first.items[0].key), "Ann")
    review = library.undo(match.id, "Ann")
    assert review.next_redo is not None
    assert review.next_undo is None
    review = library.edit(match.id, Confirm(first.items[1].key), "Ann")
    assert review.next_redo is None
    with pytest.raises(ConflictError, match="nothing to redo"):
        library.redo(match.id, "Ann")
    assert [entry.kind for entry in library.log(match.id)] == ["confirm", "undo", "confirm"]
    assert [entry.author for entry in library.log(match.id)] == ["Ann", "Ann", "Ann"]


def test_a_second_opinion_is_a_log_of_its_own(kept: Kept, first: Review) -> None:
    library, match = kept
    library.edit(match.id, Confirm(first.items[0].key), "Ann")
    theirs = library.edit(match.id, Dismiss(first.items[0].key, "no"), "Ben", opinion="Ben")
    assert theirs.confirmed_score[A].points == 0
    assert library.review(match.id).confirmed_score[A].points == 2
    with pytest.raises(ConflictError):
        library.redo(match.id, "Ben", opinion="Ben")
    library.undo(match.id, "Ben", opinion="Ben")
    assert library.opinions(match.id) == ["Ben"]
    assert len(library.log(match.id)) == 3
    assert len(library.log(match.id, "")) == 1


@pytest.mark.parametrize(
    ("edit", "error", "names"),
    [
        (Confirm("mount-A-1"), ConflictError, "mount-A-1"),
        (Dismiss("takedown-A-12000", " "), InputError, "reason"),
        (Change("takedown-A-12000"), InputError, "change"),
        (Change("takedown-A-12000", points=2), InputError, "confirm it"),
        (Change("takedown-A-12000", points=-1), InputError, "points"),
        (Change("takedown-A-12000", advantage=7), InputError, "advantage"),
        (Change("takedown-A-12000", time_s=61.0), InputError, "time_s"),
        (Reopen("takedown-A-12000"), ConflictError, "undecided"),
        (AddAward(A, ProposalKind.MOUNT, 99.0, 4), InputError, "time_s"),
        (AddAward(A, ProposalKind.NONE, 9.0, 4), InputError, "award"),
        (AddAward(A, ProposalKind.MOUNT, 9.0), InputError, "points"),
        (AddAward(A, ProposalKind.PENALTY, 9.0, 2), InputError, "penalty"),
        (SetEdge("1-2-mount-A", Edge.END, 9.0), ConflictError, "1-2-mount-A"),
        (SetEdge(MOUNT, Edge.END, 36.0), InputError, "already"),
        (SetEdge(MOUNT, Edge.END, 28.5), InputError, "nothing of the hold"),
        (SetEdge(MOUNT, Edge.END, 46.0), InputError, "neighbour"),
        (SetEdge(MOUNT, Edge.START, 23.0), InputError, "neighbour"),
        (SetEdge(HALF, Edge.END, 60.5), InputError, "outside"),
        (Split(MOUNT, 36.0), InputError, "at_s"),
        (Merge(GUARD, KNEE), InputError, "follows"),
        (Relabel(MOUNT, Position.MOUNT), InputError, "upper"),
        (Relabel(MOUNT, Position.STANDING, A), InputError, "upper"),
        (AddHold(30.0, 31.0, Position.MOUNT, A), ConflictError, "lies in that stretch"),
        (AddHold(8.5, 8.5, Position.MOUNT, A), InputError, "end_s"),
        (AddHold(-1.0, 3.0, Position.MOUNT, A), InputError, "start_s"),
        (SetCheck(KNEE, CheckName.SHIN, "left"), InputError, "shin"),
        (SetCheck(KNEE, CheckName.OTHER_KNEE_DOWN, 1), InputError, "other_knee_down"),
        (SetCheck(BACK, CheckName.HOOKS, True), InputError, "hooks"),
        (AddEvent(EventName.START, 5.0, A), InputError, "athlete"),
        (AddEvent(EventName.PENALTY, 5.0), InputError, "athlete"),
        (AddEvent(EventName.PENALTY, -0.5, A), InputError, "time_s"),
        (RemoveEvent("5-start"), ConflictError, "5-start"),
        (SwapAthletes(50.0, 40.0), InputError, "end_s"),
        (SwapAthletes(70.0), InputError, "start_s"),
    ],
)
def test_an_edit_that_cannot_be_is_refused_and_leaves_nothing(
    kept: Kept, first: Review, edit: Edit, error: type[Exception], names: str
) -> None:
    library, match = kept
    with pytest.raises(error, match=names) as caught:
        library.edit(match.id, edit, "Ann")
    assert "\n" not in str(caught.value)
    assert library.log(match.id) == []
    assert library.review(match.id).items == first.items


def test_an_edit_needs_an_author(kept: Kept, first: Review) -> None:
    library, match = kept
    with pytest.raises(InputError, match="author"):
        library.edit(match.id, Confirm(first.items[0].key), "  ")
    assert library.log(match.id) == []


# Speed -------------------------------------------------------------------------------------------
def test_a_ten_minute_match_is_reviewed_in_under_50_ms(tmp_path: Path) -> None:
    library, match = library_with_match(tmp_path)
    with library:
        made = analysis(long_holds(10.0), n_frames=18_000)
        library.save_analysis(match.id, made)
        review = library.review(match.id)
        for item in review.items[:30]:
            library.edit(match.id, Dismiss(item.key, "speed"), "Ann")
        for held in review.holds[1:20:2]:
            library.edit(match.id, Split(held.key, held.hold.start_s + 1.0), "Ann")
        spent_s = []
        for _ in range(7):
            with Library(tmp_path) as cold:
                start_s = time.process_time()
                review = cold.review(match.id)
                spent_s.append(time.process_time() - start_s)
    assert len(review.holds) >= 70
    assert len(review.entries) == 40
    assert min(spent_s) < 0.050, f"{min(spent_s) * 1000:.0f} ms"
