"""What stands in a match at a glance is what its review says, and costs no replay."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from posescore.library.library import Library
from posescore.library.match import Match, MatchInfo
from posescore.library.review.edits import AddAward, Confirm, Dismiss, SetDivision, SetRules
from posescore.library.standing import Standing
from posescore.scoring.proposal import ProposalKind
from posescore.terms import Athlete
from tests.library.samples import INFO, analysis, library_with_match

Kept = tuple[Library, Match]


def standing(library: Library, match_id: int) -> Standing:
    return library.standings([library.match(match_id)])[match_id]


def test_it_sums_up_the_review(kept: Kept) -> None:
    library, match = kept
    review = library.review(match.id)
    before = standing(library, match.id)
    assert (before.waiting, before.total) == (len(review.undecided), len(review.items))
    assert before.points == {Athlete.A: 0, Athlete.B: 0}
    paying = next(item for item in review.undecided if item.shown.points)
    library.edit(match.id, Confirm(paying.key), "Ann")
    after = standing(library, match.id)
    assert after.waiting == before.waiting - 1
    assert paying.shown.athlete is not None
    assert after.points[paying.shown.athlete] == paying.shown.points


def test_rules_and_division_are_those_in_force(kept: Kept) -> None:
    library, match = kept
    library.edit(match.id, SetRules("sport-jiu-jitsu-strict-mount"), "Ann")
    library.edit(match.id, SetDivision({"age": "master 2"}), "Ann")
    found = standing(library, match.id)
    assert found.rules == "sport-jiu-jitsu-strict-mount"
    assert found.division == {"age": "master 2"}


def test_a_match_without_analysis_has_none(tmp_path: Path) -> None:
    with Library(tmp_path) as library:
        match = library.add_match(INFO)
        assert library.standings([match]) == {}


def test_it_is_kept_and_replayed_only_after_a_change(tmp_path: Path) -> None:
    library, match = library_with_match(tmp_path)
    first = standing(library, match.id)
    library.close()
    with sqlite3.connect(tmp_path / "library.sqlite3") as database:
        database.execute("UPDATE standing SET content = json_set(content, '$.waiting', 99)")
    database.close()
    with Library(tmp_path) as again:
        assert standing(again, match.id).waiting == 99, "what was kept is what is told"
        again.save_analysis(match.id, analysis())
        assert standing(again, match.id).waiting == first.waiting


def test_rules_in_a_file_of_ones_own_are_never_taken_from_what_was_kept(tmp_path: Path) -> None:
    rules = tmp_path / "mine.toml"
    rules.write_text('name = "mine"\ntitle = "Mine"\nbased_on = "sport-jiu-jitsu"\n')
    with Library(tmp_path / "library") as library:
        match = library.add_match(MatchInfo("x", rules=str(rules)))
        library.save_analysis(match.id, analysis())
        assert not standing(library, match.id).trouble
        rules.write_text("nonsense")
        assert "mine.toml" in standing(library, match.id).trouble
        rules.unlink()
        assert standing(library, match.id).trouble


def test_it_goes_with_its_match(kept: Kept) -> None:
    library, match = kept
    standing(library, match.id)
    library.delete_match(match.id)
    assert library.standings([match])[match.id].trouble
    with sqlite3.connect(library.folder / "library.sqlite3") as database:
        assert database.execute("SELECT count(*) FROM standing").fetchone() == (0,)
    database.close()


@settings(max_examples=15, deadline=None)
@given(st.lists(st.sampled_from(["confirm", "dismiss", "add", "undo", "redo"]), max_size=6))
def test_whatever_people_do_it_is_what_the_review_says(tmp_path_factory, acts: list[str]) -> None:
    library, match = library_with_match(tmp_path_factory.mktemp("kept"))
    with library:
        for act in acts:
            review = library.review(match.id)
            if act == "add":
                library.edit(match.id, AddAward(Athlete.B, ProposalKind.SWEEP, 5.0, 2), "Ann")
            elif act == "undo" and review.next_undo:
                library.undo(match.id, "Ann")
            elif act == "redo" and review.next_redo:
                library.redo(match.id, "Ann")
            elif act == "confirm" and review.undecided:
                library.edit(match.id, Confirm(review.undecided[-1].key), "Ann")
            elif act == "dismiss" and review.undecided:
                library.edit(match.id, Dismiss(review.undecided[0].key, "no"), "Ann")
            assert standing(library, match.id) == Standing.of(library.review(match.id))
            assert standing(library, match.id) == Standing.of(library.review(match.id)), "kept"
