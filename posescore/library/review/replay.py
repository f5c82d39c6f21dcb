"""From an analysis and a log to the match as it stands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cache
from typing import Final

from posescore.holds.event import MatchEvent
from posescore.holds.hold import Hold
from posescore.library.analysis import Analysis
from posescore.library.review.counting import counted, with_own_marks
from posescore.library.review.entries import Entry, history
from posescore.library.review.matching import keys_of, paired, unused
from posescore.library.review.review import Decision, Review, ReviewEvent, ReviewItem
from posescore.library.review.saying import spoken
from posescore.library.review.state import MatchState, Said, worth
from posescore.library.store.recent import Recent
from posescore.scoring.engine import propose
from posescore.scoring.match_time import Division
from posescore.scoring.outcome import Reading
from posescore.scoring.proposal import Proposal, ProposalKind, Ruling
from posescore.scoring.rules import RuleSet
from posescore.words import capital, language

_shipped_rules: Final = cache(RuleSet.load)


def rules_named(name: str) -> RuleSet:
    """A rule set: one that ships with the program is read once, a file of one's own each time."""
    return RuleSet.load(name) if name.endswith(".toml") else _shipped_rules(name)


def replay(
    base: Analysis,
    entries: Sequence[Entry],
    rules: RuleSet,
    division: Mapping[str, str] | None = None,
) -> Review:
    """The match as it stands.

    Parameters
    ----------
    base
        What the program made of the footage.
    entries
        The log of one opinion, oldest first, undo and redo included.
    rules, division
        Those in force (see :func:`posescore.library.review.state.settings_in_force`).

    Notes
    -----
    Holds and events are edited first, then everything is proposed anew, then people's decisions
    are laid on the proposals they were made on. A decision whose proposal is gone stays.
    """
    fold = history(entries)
    state = MatchState.of(base)
    for entry in fold.done:
        assert entry.edit is not None, "undo and redo are folded away before"
        entry.edit.apply(state, entry)
    state.events.sort(key=lambda marked: marked[0].time_s)
    match_s = _match_s(rules, division)
    ruling = _ruling(state, rules, match_s)
    first = _ruling(MatchState.of(base), rules, match_s) if fold.done else ruling
    said = {key: _with_clause(word, rules) for key, word in state.said.items()}
    items = _items(said, ruling.proposals, first.proposals)
    items = with_own_marks(items, state, fold.done)
    return replace(
        _standing(base, state, items, ruling, rules, match_s),
        division=division,
        entries=fold.done,
        next_undo=fold.next_undo(),
        next_redo=fold.next_redo(),
        last_entry_id=entries[-1].id if entries else 0,
    )


def _standing(
    base: Analysis,
    state: MatchState,
    items: tuple[ReviewItem, ...],
    ruling: Ruling,
    rules: RuleSet,
    match_s: float | None,
) -> Review:
    """The review without its place in the log."""
    confirmed = counted(state, rules, match_s, [item.award for item in items], by_people=True)
    awards = [item.award if item.decision else item.proposal for item in items]
    proposed = counted(state, rules, match_s, awards, by_people=False)
    return Review(
        analysis_version=base.version,
        rules=rules.name,
        rule_set=rules,
        division=None,
        clock=base.clock,
        holds=tuple(state.holds),
        events=_events(state),
        items=tuple(replace(item, behind_end=confirmed.is_over(item.shown)) for item in items),
        ruling=ruling,
        confirmed_score=confirmed.score,
        confirmed_result=confirmed.result,
        proposed_score=proposed.score,
        proposed_result=proposed.result,
        end=confirmed.end,
        outcome=state.outcome,
        readings=tuple(
            Reading(at_s, state.readings[at_s]) for at_s in sorted(state.readings, key=_last)
        ),
        findings=base.findings,
        swaps=state.exchanged(),
        set_aside=tuple(state.set_aside),
        track_sha256=base.track_sha256,
    )


def _last(at_s: float | None) -> float:
    return float("inf") if at_s is None else at_s


def _match_s(rules: RuleSet, division: Mapping[str, str] | None) -> float | None:
    """The published match time; refuses a division that these rules do not know."""
    known = division_of(rules, division)
    return None if known is None else rules.match_times.match_s(known)


def division_of(rules: RuleSet, division: Mapping[str, str] | None) -> Division | None:
    """The division of these words under a rule set; InputError where there is none such."""
    if not division:
        return None
    return rules.match_times.division(division.get("age", ""), division.get("belt"))


_Basis = tuple[tuple[Hold, ...], tuple[MatchEvent, ...], float, float | None, str]
_RULINGS: Final[Recent[_Basis, tuple[RuleSet, Ruling]]] = Recent(16)
"""The engine is a pure function: a decision changes no hold, so it need not run again."""


def _ruling(state: MatchState, rules: RuleSet, match_s: float | None) -> Ruling:
    holds = tuple(held.hold for held in state.holds)
    events = tuple(event for event, _ in state.events)
    basis = (holds, events, state.end_s, match_s, language())
    known = _RULINGS.get(basis)
    if known is not None and known[0] is rules:
        return known[1]
    ruling = propose(holds, events, rules, end_s=state.end_s, match_s=match_s)
    _RULINGS.put(basis, (rules, ruling))
    return ruling


def _events(state: MatchState) -> tuple[ReviewEvent, ...]:
    used: set[str] = set()
    events = []
    for event, entry_id in state.events:
        athlete = f"-{event.athlete}" if event.athlete else ""
        key = unused(f"{event.time_s * 1000:.0f}-{event.event}{athlete}", used)
        used.add(key)
        events.append(ReviewEvent(key, event, entry_id))
    return tuple(events)


def _items(
    said: Mapping[str, Said], proposals: Sequence[Proposal], first: Sequence[Proposal]
) -> tuple[ReviewItem, ...]:
    """Lay decisions on proposals. ``first`` are the proposals before any edit: they give keys."""
    decided = paired({key: word.seen for key, word in said.items() if not word.added}, proposals)
    open_indices = [index for index in range(len(proposals)) if index not in decided]
    first_keys = dict(zip(keys_of(first, {}), first, strict=True))
    remembered = {key: each for key, each in first_keys.items() if key not in said}
    keys = keys_of([proposals[index] for index in open_indices], remembered, taken=said)
    ranked = {index: _decided(key, said[key], proposals[index]) for index, key in decided.items()}
    for index, key in zip(open_indices, keys, strict=True):
        ranked[index] = ReviewItem(key, proposals[index])
    items = [ranked[index] for index in range(len(proposals))]
    items += [_decided(key, said[key], None) for key in said if key not in decided.values()]
    return tuple(sorted(items, key=lambda item: item.shown.time_s))


def _with_clause(said: Said, rules: RuleSet) -> Said:
    """Give the clause of its kind to an award that no proposal of that kind stands behind."""
    kind = said.changes.get("kind", said.seen.kind)
    clause = rules.clauses.get("advantage" if kind is ProposalKind.NEAR else kind, "")
    if said.added:
        seen = replace(said.seen, clause=said.seen.clause or clause)
        return replace(said, seen=seen, changes={**said.changes, "clause": clause})
    if kind is said.seen.kind:
        return said
    why = said.reason or f"A person changed it from {spoken(said.seen)}."
    other = {"clause": clause, "why": why, "criteria": (), "path": ()}
    return replace(said, changes={**said.changes, **other})


def _decided(key: str, said: Said, now: Proposal | None) -> ReviewItem:
    decision = said.decision(now)
    return ReviewItem(key, now, decision, _note(said, decision, now), said.added)


def _note(said: Said, decision: Decision, now: Proposal | None) -> str:
    if said.added:
        return ""
    word = capital(decision.verdict)
    if now is None:
        return f"{word} as {spoken(said.seen)}, but nothing is proposed here any more."
    if worth(now) != worth(said.seen):
        return f"{word} as {spoken(said.seen)}; what is proposed now is {spoken(now)}."
    return ""
