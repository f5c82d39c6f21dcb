"""Random edits with undo and redo: the library equals an independent model, and its own log."""

from __future__ import annotations

import contextlib
import itertools
import random
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from posescore.errors import ConflictError, InputError
from posescore.holds.event import EventName
from posescore.holds.hold import CheckName, Hold
from posescore.library.library import Library
from posescore.library.review import edits as e
from posescore.library.review.entries import Entry
from posescore.library.review.replay import replay
from posescore.library.review.review import Review
from posescore.scoring.proposal import ProposalKind
from posescore.scoring.rules import RuleSet
from posescore.terms import Athlete, Position
from tests.library.samples import EVENTS, HOLDS, INFO, analysis, library_with_match

END_S = 60.0
Row = tuple[float, float, Position, Athlete | None]


@dataclass
class Model:
    """What should stand, kept as plain rows with a copy of everything for each step back."""

    holds: list[Row] = field(
        default_factory=lambda: [(h.start_s, h.end_s, h.position, h.upper) for h in HOLDS]
    )
    events: list[tuple[float, EventName, Athlete | None]] = field(
        default_factory=lambda: [(x.time_s, x.event, x.athlete) for x in EVENTS]
    )
    verdicts: dict[str, str] = field(default_factory=dict)
    before: list[tuple[object, ...]] = field(default_factory=list)
    after: list[tuple[object, ...]] = field(default_factory=list)

    def copy(self) -> tuple[object, ...]:
        return list(self.holds), list(self.events), dict(self.verdicts)

    def put(self, copy: tuple[object, ...]) -> None:
        self.holds, self.events, self.verdicts = (
            list(copy[0]), list(copy[1]), dict(copy[2]),  # type: ignore[call-overload]
        )  # fmt: skip

    def undo(self) -> None:
        self.after.append(self.copy())
        self.put(self.before.pop())

    def redo(self) -> None:
        self.before.append(self.copy())
        self.put(self.after.pop())

    def do(self, edit: e.Edit, review: Review, entry_id: int) -> None:
        self.before.append(self.copy())
        self.after.clear()
        self._edit_hold(edit, review)
        if isinstance(edit, e.AddEvent):
            self.events.append((edit.time_s, edit.event, edit.athlete))
        elif isinstance(edit, e.RemoveEvent):
            gone = review.event(edit.event)
            assert gone is not None
            self.events.remove((gone.event.time_s, gone.event.event, gone.event.athlete))
        elif isinstance(edit, e.AddAward):
            self.verdicts[f"added-{entry_id}"] = "added"
        elif isinstance(edit, e.Reopen):
            self.verdicts.pop(edit.proposal, None)  # a mark of one's own is no verdict here
        elif isinstance(edit, e.Confirm | e.Dismiss | e.Change):
            word = {"confirm": "confirmed", "dismiss": "dismissed", "change": "changed"}[edit.kind]
            if word == "changed" and edit.proposal.startswith("added-"):
                word = "added"
            self.verdicts[edit.proposal] = word

    def _row(self, key: str, review: Review) -> int:
        held = review.hold(key)
        assert held is not None
        hold = held.hold
        return self.holds.index((hold.start_s, hold.end_s, hold.position, hold.upper))

    def _edit_hold(self, edit: e.Edit, review: Review) -> None:
        rows = self.holds
        if isinstance(edit, e.SetEdge):
            index = self._row(edit.hold, review)
            if edit.edge is e.Edge.END:
                self._end(index, edit.to_s)
            else:
                self._start(index, edit.to_s)
        elif isinstance(edit, e.Split):
            index = self._row(edit.hold, review)
            start_s, end_s, *state = rows[index]
            rows[index : index + 1] = [(start_s, edit.at_s, *state), (edit.at_s, end_s, *state)]
        elif isinstance(edit, e.Merge):
            index = self._row(edit.first, review)
            first, second = rows[index : index + 2]
            state = first[2:] if edit.keep is e.Keep.FIRST else second[2:]
            rows[index : index + 2] = [(first[0], second[1], *state)]
        elif isinstance(edit, e.Relabel):
            index = self._row(edit.hold, review)
            rows[index] = (*rows[index][:2], edit.position, edit.upper)
        elif isinstance(edit, e.RemoveHold):
            del rows[self._row(edit.hold, review)]
        elif isinstance(edit, e.AddHold):
            rows.append((edit.start_s, edit.end_s, edit.position, edit.upper))
            rows.sort(key=lambda row: row[0])

    def _end(self, index: int, to_s: float) -> None:
        start_s, end_s, *state = self.holds[index]
        self.holds[index] = (start_s, to_s, *state)
        if index + 1 < len(self.holds):
            next_start_s, next_end_s, *next_state = self.holds[index + 1]
            if next_start_s == end_s or to_s > next_start_s:
                self.holds[index + 1] = (to_s, next_end_s, *next_state)

    def _start(self, index: int, to_s: float) -> None:
        start_s, end_s, *state = self.holds[index]
        self.holds[index] = (to_s, end_s, *state)
        if index:
            last_start_s, last_end_s, *last_state = self.holds[index - 1]
            if last_end_s == start_s or to_s < last_end_s:
                self.holds[index - 1] = (last_start_s, to_s, *last_state)


def random_edit(dice: random.Random, review: Review) -> e.Edit:
    """Some edit, mostly one that makes sense."""
    hold = dice.choice(review.holds).key if review.holds else "0-1-mount-A"
    index = dice.randrange(max(1, len(review.holds) - 1))
    pair = [held.key for held in review.holds[index : index + 2]] or [hold]
    item = dice.choice(review.items).key if review.items else "mount-A-1"
    event = dice.choice(review.events).key if review.events else "0-start"
    at_s = round(dice.uniform(-1, END_S + 1), 3)
    athlete = dice.choice([*Athlete, None])
    position = dice.choice(list(Position))
    held = review.hold(hold)
    near_s = dice.choice((held.hold.start_s, held.hold.end_s)) if held else 0.0
    return dice.choice([
        e.SetEdge(hold, dice.choice(list(e.Edge)), round(near_s + dice.uniform(-2, 2), 3)),
        e.SetEdge(hold, dice.choice(list(e.Edge)), at_s),
        e.Split(hold, round(near_s + dice.uniform(-2, 2), 3)),
        e.Merge(pair[0], pair[-1], dice.choice(list(e.Keep))),
        e.Relabel(hold, position, athlete if position.has_upper else None),
        e.Relabel(hold, position, athlete),
        e.AddHold(at_s, at_s + dice.uniform(0, 4), position, athlete),
        e.RemoveHold(hold) if dice.random() < 0.3 else e.Split(hold, at_s),
        e.AddEvent(dice.choice(list(EventName)), at_s, athlete),
        e.RemoveEvent(event),
        e.Confirm(item),
        e.Dismiss(item, dice.choice(["", "the knee was down"])),
        e.Change(item, points=dice.randrange(5), award=ProposalKind.MOUNT),
        e.Reopen(item),
        e.AddAward(Athlete.B, ProposalKind.SWEEP, at_s, 2),
    ])  # fmt: skip


def rows_of(review: Review) -> list[Row]:
    return [(h.hold.start_s, h.hold.end_s, h.hold.position, h.hold.upper) for h in review.holds]


def verdicts_of(review: Review) -> dict[str, str]:
    """What people said; a mark of their own says it too, and is tested beside its own rule."""
    return {
        item.key: item.status
        for item in review.items
        if item.decision and not item.decision.by_mark
    }


def events_of(review: Review) -> list[tuple[float, EventName, Athlete | None]]:
    return [(x.event.time_s, x.event.event, x.event.athlete) for x in review.events]


def contents(review: Review) -> tuple[object, ...]:
    """Everything that a person sees, to compare reviews by."""
    return (
        review.holds, review.events, review.items, review.swaps, review.rules, review.division,
        dict(review.confirmed_score), dict(review.proposed_score), review.proposed_result,
        review.confirmed_result,
    )  # fmt: skip


def check(review: Review, model: Model) -> None:
    assert rows_of(review) == model.holds
    assert sorted(map(str, events_of(review))) == sorted(map(str, model.events))
    assert verdicts_of(review) == model.verdicts
    ends = [row[:2] for row in rows_of(review)]
    assert all(a[1] <= b[0] for a, b in itertools.pairwise(ends)), "holds overlap"


def newest_author(entry: Entry | None) -> str:
    """Who may undo or redo in the order of the log; somebody who may not where there is nothing."""
    return entry.author if entry else "Nobody"


def one_step(
    library: Library, match_id: int, model: Model, dice: random.Random, opinion: str = ""
) -> bool:
    """One random thing; False when it was refused, and then it left nothing."""
    review = library.review(match_id, opinion)
    entries = library.match(match_id).entries
    turn = dice.random()
    try:
        if turn < 0.2:
            review = library.undo(match_id, newest_author(review.next_undo), opinion)
            model.undo()
        elif turn < 0.35:
            author = newest_author(review.next_redo if model.after else None)
            review = library.redo(match_id, author, opinion)
            model.redo()
        else:
            edit = random_edit(dice, review)
            after = library.edit(match_id, edit, dice.choice(["Ann", "Ben"]), opinion)
            model.do(edit, review, after.last_entry_id)
            review = after
    except (InputError, ConflictError):
        assert library.match(match_id).entries == entries
        assert contents(library.review(match_id, opinion)) == contents(review)
        return False
    assert library.match(match_id).entries == entries + 1
    check(review, model)
    return True


def equals_its_log(folder: Path, match_id: int, model: Model, opinion: str = "") -> None:
    """A library opened anew, and a replay of its log alone, are what the model says."""
    with Library(folder) as again:
        review = again.review(match_id, opinion)
        check(review, model)
        rules, log = RuleSet.load(INFO.rules), again.log(match_id, opinion)
        alone = replay(again.analysis(match_id), log, rules, INFO.division)
        assert contents(alone) == contents(review)


@settings(
    max_examples=6, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(seed=st.integers(0, 2**32))
def test_random_edits_leave_what_the_log_says(
    tmp_path_factory: pytest.TempPathFactory, seed: int
) -> None:
    folder = tmp_path_factory.mktemp("library")
    dice, model = random.Random(seed), Model()
    library, match = library_with_match(folder)
    with library, Library(folder) as other:
        for _ in range(50):
            one_step(dice.choice((library, other)), match.id, model, dice)
    equals_its_log(folder, match.id, model)


def test_a_thousand_edits_then_all_undone_and_all_redone(tmp_path: Path) -> None:
    dice, model = random.Random(20), Model()
    library, match = library_with_match(tmp_path)
    with library:
        untouched = contents(library.review(match.id))
        done = 0
        while done < 1000:
            done += one_step(library, match.id, model, dice)
        equals_its_log(tmp_path, match.id, model)
        last = contents(library.review(match.id))
        steps = len(library.review(match.id).entries)
        assert steps > 100
        review = library.review(match.id)
        for _ in range(steps):
            review = undo_with_its_author(library, match.id, review)
        assert contents(review) == untouched
        with pytest.raises(ConflictError):
            library.undo(match.id, "Ann")
        for _ in range(steps):
            assert review.next_redo is not None
            review = library.redo(match.id, review.next_redo.author)
            review = library.review(match.id)
        assert contents(review) == last


def undo_with_its_author(library: Library, match_id: int, review: Review) -> Review:
    """Take back the newest edit as whoever made it; a stranger has nothing to take back."""
    assert review.next_undo is not None
    author = review.next_undo.author
    with pytest.raises(ConflictError, match=author):
        library.undo(match_id, "Cleo")
    library.undo(match_id, author)
    return library.review(match_id)


@pytest.mark.parametrize("seed", range(3))
def test_opinions_never_touch_each_other(tmp_path: Path, seed: int) -> None:
    """Two people edit in turn, each with a model of their own."""
    dice = random.Random(seed)
    models = {"": Model(), "Ben": Model()}
    library, match = library_with_match(tmp_path)
    with library:
        for _ in range(80):
            opinion = dice.choice(list(models))
            one_step(library, match.id, models[opinion], dice, opinion)
            for name, model in models.items():
                check(library.review(match.id, name), model)
    for name, model in models.items():
        assert model.before, "nothing was edited"
        equals_its_log(tmp_path, match.id, model, name)


def any_edit(dice: random.Random, review: Review) -> e.Edit:
    """An edit of any kind, those the model does not know included."""
    start_s, end_s = sorted((dice.uniform(0, END_S), dice.uniform(0, END_S)))
    hold = dice.choice(review.holds).key if review.holds else "0-1-mount-A"
    strict = dice.random() < 0.5
    return dice.choice([
        e.SwapAthletes(start_s, dice.choice((None, end_s))),
        e.SetCheck(hold, CheckName.HOOKS, dice.randrange(3)),
        e.SetRules("sport-jiu-jitsu-strict-mount" if strict else "sport-jiu-jitsu"),
        e.SetDivision({"age": "adult", "belt": "blue"} if strict else None),
        *(random_edit(dice, review) for _ in range(6)),
    ])  # fmt: skip


def tries(library: Library, match_id: int, dice: random.Random, times: int) -> Review:
    """Random edits of any kind; what is refused is refused."""
    review = library.review(match_id)
    for _ in range(times):
        with contextlib.suppress(InputError, ConflictError):
            review = library.edit(match_id, any_edit(dice, review), "Ann")
    return review


@pytest.mark.parametrize("seed", range(3))
def test_edits_of_every_kind_are_replayed_undone_and_redone(tmp_path: Path, seed: int) -> None:
    library, match = library_with_match(tmp_path)
    with library:
        untouched = contents(library.review(match.id))
        review = tries(library, match.id, random.Random(seed), 80)
        kinds = {entry.kind for entry in review.entries}
        assert {"swap_athletes", "set_check", "set_rules"} <= kinds
        with Library(tmp_path) as other:
            assert contents(other.review(match.id)) == contents(review)
            for _ in review.entries:
                back = other.undo(match.id, "Ann")
            assert contents(back) == untouched
            for _ in review.entries:
                again = other.redo(match.id, "Ann")
            assert contents(again) == contents(review)


@pytest.mark.parametrize("seed", range(4))
def test_another_analysis_keeps_every_hold_that_a_person_touched(tmp_path: Path, seed: int) -> None:
    dice, model = random.Random(seed), Model()
    library, match = library_with_match(tmp_path)
    with library:
        for _ in range(40):
            one_step(library, match.id, model, dice)
        before, log = library.review(match.id), library.log(match.id)
        cuts_s = sorted(round(dice.uniform(0, END_S), 3) for _ in range(20))
        holds = tuple(
            Hold(a, b, Position.MOUNT, dice.choice(list(Athlete)), 0.5)
            for a, b in itertools.pairwise(cuts_s)
            if b - a > 0.2
        )
        library.save_analysis(match.id, analysis(holds, (), library.analysis(match.id).track_path))
        after = library.review(match.id)
        assert library.log(match.id) == log
        assert [held for held in before.holds if held.edited] == [
            held for held in after.holds if held.edited and held in before.holds
        ]
        assert all(a.hold.end_s <= b.hold.start_s for a, b in itertools.pairwise(after.holds))
        assert verdicts_of(after) == verdicts_of(before)
        assert contents(library.review(match.id, version=1)) == contents(before)


def test_the_model_starts_where_the_library_starts() -> None:
    review = replay(analysis(), [], RuleSet.load(INFO.rules), INFO.division)
    check(review, Model())
