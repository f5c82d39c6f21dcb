from __future__ import annotations

from dataclasses import replace

import pytest

from posescore.export.evidence import (
    answer_of,
    confidence_of,
    deciding,
    events_on_the_way,
    hold_shown,
    look_at,
    path_of,
    stills_of,
)
from posescore.export.sentences import asks_of, sources_of
from posescore.holds.check import CHECKS
from posescore.holds.event import EventName
from posescore.library.library import Library
from posescore.library.match import Match
from posescore.library.review.edits import AddAward, SetCheck
from posescore.scoring.proposal import Criterion, ProposalKind
from posescore.scoring.rules import RuleSet
from posescore.terms import Athlete, Position

Kept = tuple[Library, Match]


def test_stills_show_the_start_the_third_second_and_the_end(filmed: Kept) -> None:
    library, match = filmed
    review = library.review(match.id)
    for item in review.items:
        shown, stills = item.shown, stills_of(item, review)
        assert 1 <= len(stills) <= 3
        assert [still.frame_index for still in stills] == sorted(
            {still.frame_index for still in stills}
        )
        for still in stills:
            assert still.time_s == review.clock.time_s(still.frame_index)
        if shown.points:
            held = hold_shown(shown, review.holds)
            assert held is not None
            begins_s = max(shown.evidence.start_s, held.hold.start_s)
            assert stills[0].frame_index == review.clock.frame_index(begins_s + 1e-6)
            # Rule book 3.1: what counts is the third second.
            third = review.clock.frame_index(shown.time_s + 1e-6)
            assert stills[1].frame_index == third
            assert stills[-1].time_s < held.hold.end_s


def test_the_path_is_found_among_the_holds_in_order(filmed: Kept) -> None:
    library, match = filmed
    review = library.review(match.id)
    walked = [path_of(item.shown, review.holds) for item in review.items]
    assert any(len(path) > 1 for path in walked)
    for path in walked:
        found = [step.hold for step in path if step.hold is not None]
        assert all(step.hold is None or step.hold.state == step.state for step in path)
        assert found == sorted(found, key=lambda hold: hold.start_s)
    known = [held.hold for held in review.holds]
    assert all(step.hold in [*known, None] for path in walked for step in path)


def test_no_points_names_the_criterion_that_decides(filmed: Kept) -> None:
    library, match = filmed
    found = {
        (shown.would_be or shown.kind, shown.athlete): found.name
        for item in library.review(match.id).items
        if (found := deciding(shown := item.shown)) is not None
    }
    # From under back control it is a reversal, no sweep: rule book, 4.6.
    assert found == {(ProposalKind.SWEEP, Athlete.B): "starts underneath in guard or half-guard"}


def test_the_surest_of_those_not_met_decides(filmed: Kept) -> None:
    library, match = filmed
    item = next(x for x in library.review(match.id).items if x.shown.kind is ProposalKind.NONE)
    criteria = (
        Criterion("met", True, "", "4", 0.99),
        Criterion("doubtful", False, "", "4", 0.6),
        Criterion("clear", False, "", "4", 0.9),
        Criterion("unseen", None, "", "4"),
    )
    shown = replace(item.shown, criteria=criteria)
    assert deciding(shown) is criteria[2]
    assert deciding(replace(shown, criteria=criteria[::3])) is None
    assert deciding(replace(shown, kind=ProposalKind.MOUNT, points=4)) is None


def test_an_award_of_a_person_has_its_instant(filmed: Kept) -> None:
    library, match = filmed
    award = AddAward(Athlete.B, ProposalKind.SWEEP, 47.1, 2, reason="seen from the stand")
    review = library.edit(match.id, award, "Ben")
    item = next(item for item in review.items if item.added)
    assert stills_of(item, review)[0].time_s == pytest.approx(47.1, abs=0.3)
    assert path_of(item.shown, review.holds) == ()


def test_a_persons_answers_are_edits_that_the_library_takes(filmed: Kept) -> None:
    library, match = filmed
    review = library.review(match.id)
    hold = next(h for h in review.holds if h.hold.position is not Position.STANDING)
    for check, kind in CHECKS.items():
        for value in (kind.met, kind.unmet):
            assert SetCheck(hold.key, check, value).effect(review).stretch is not None
        assert answer_of(Criterion("asked", None, "", "", check=str(check))) is kind
    assert answer_of(Criterion("asked", None, "", "", check="leg_trapped")) is None
    assert answer_of(Criterion("asked", None, "", "")) is None


def test_every_award_of_the_published_rules_is_explained() -> None:
    shipped = RuleSet.load()
    for kind in set(ProposalKind) - {ProposalKind.NEAR, ProposalKind.NONE}:
        asks = asks_of(kind, shipped)
        assert asks
        assert "{" not in asks
        assert asks_of(kind, replace(shipped, name="club")) == ""
    assert "for three seconds" in asks_of(ProposalKind.MOUNT, shipped)


def test_what_scored_is_looked_at_at_its_instant_and_what_did_not_in_its_position(
    filmed: Kept,
) -> None:
    library, match = filmed
    review = library.review(match.id)
    for item in review.items:
        shown, look = item.shown, look_at(item, review)
        if shown.points:
            assert look.frame_index == review.clock.frame_index(shown.time_s + 1e-6)
            continue
        held = hold_shown(shown, review.holds)
        assert held is not None
        assert held.hold.start_s <= look.time_s <= max(held.hold.end_s, shown.time_s)
        assert look.time_s <= shown.time_s


def test_nothing_is_surer_than_the_position_it_rests_on(filmed: Kept) -> None:
    library, match = filmed
    review = library.review(match.id)
    for item in review.items:
        held = hold_shown(item.shown, review.holds)
        assert held is not None
        for criterion in item.shown.criteria:
            sure = confidence_of(criterion, item.shown, held)
            if answer_of(criterion) or criterion.probability < 1.0:
                assert sure == criterion.probability  # a check, or a person's answer
            elif criterion.met:
                assert sure == held.hold.confidence < 1.0
            else:
                assert sure == item.shown.confidence < 1.0


def test_what_happened_on_the_way_is_told(filmed: Kept) -> None:
    library, match = filmed
    review = library.review(match.id)
    takedown = next(x.shown for x in review.items if x.shown.kind is ProposalKind.TAKEDOWN)
    path = path_of(takedown, review.holds)
    told = [each.event.event for each in events_on_the_way(takedown, path, review.events)]
    assert EventName.TAKEDOWN_ATTEMPT in told
    assert EventName.START not in told
    assert all(step.hold and 0.0 < step.hold.confidence <= 1.0 for step in path)


def test_where_a_clause_stands_is_said_without_marks() -> None:
    shipped = RuleSet.load()
    said = sources_of(shipped.clauses.values(), shipped)
    assert "6.1 (2024)" in said
    assert "near" in said
    assert "4.1.7, 4.1.9, 4.1.11, 4.1.12" in said
    assert "memory, not checked in print: 6." in said
    assert "[" not in said
    alone = sources_of(["4.1", "3.1", "3.1, 5"], shipped)
    assert alone.count(".") == 2, "nothing was read elsewhere"
    assert sources_of(["4.1"], replace(shipped, name="club")) == ""
