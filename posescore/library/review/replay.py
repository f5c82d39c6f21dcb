"""From an analysis and a log to the match as it stands."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from functools import cache
from typing import Final

from posescore.holds.event import MatchEvent
from posescore.holds.hold import Hold
from posescore.library.analysis import Analysis
from posescore.library.review.entries import Entry, history
from posescore.library.review.matching import keys_of, paired, unused
from posescore.library.review.review import Decision, Review, ReviewEvent, ReviewItem, Verdict
from posescore.library.review.state import FRAME_OF_MATCH, MatchState, Said, worth
from posescore.library.store.recent import Recent
from posescore.scoring.engine import propose
from posescore.scoring.match_time import Division
from posescore.scoring.proposal import Proposal, ProposalKind, Result, Ruling, Tally
from posescore.scoring.rules import RuleSet
from posescore.scoring.score import score_of
from posescore.terms import Athlete
from posescore.words import language

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
    division_of(rules, division)  # refuses one that these rules do not know
    ruling = _ruling(state, rules)
    first = _ruling(MatchState.of(base), rules) if fold.done else ruling
    said = {key: _with_clause(word, rules) for key, word in state.said.items()}
    items = _items(said, ruling.proposals, first.proposals)
    review = _standing(base, state, items, ruling, rules)
    return replace(
        review,
        division=division,
        entries=fold.done,
        next_undo=fold.next_undo,
        next_redo=fold.next_redo,
        last_entry_id=entries[-1].id if entries else 0,
    )


def _standing(
    base: Analysis,
    state: MatchState,
    items: tuple[ReviewItem, ...],
    ruling: Ruling,
    rules: RuleSet,
) -> Review:
    """The review without its place in the log."""
    confirmed_score, confirmed_result = _confirmed(items, state, rules)
    return Review(
        analysis_version=base.version,
        rules=rules.name,
        rule_set=rules,
        division=None,
        clock=base.clock,
        holds=tuple(state.holds),
        events=_events(state),
        items=items,
        ruling=ruling,
        confirmed_score=confirmed_score,
        confirmed_result=confirmed_result,
        findings=base.findings,
        swaps=state.exchanged(),
        set_aside=tuple(state.set_aside),
        track_sha256=base.track_sha256,
    )


def division_of(rules: RuleSet, division: Mapping[str, str] | None) -> Division | None:
    """The division of these words under a rule set; InputError where there is none such."""
    if not division:
        return None
    return rules.match_times.division(division.get("age", ""), division.get("belt"))


_Basis = tuple[tuple[Hold, ...], tuple[MatchEvent, ...], float, str]
_RULINGS: Final[Recent[_Basis, tuple[RuleSet, Ruling]]] = Recent(16)
"""The engine is a pure function: a decision changes no hold, so it need not run again."""


def _ruling(state: MatchState, rules: RuleSet) -> Ruling:
    holds = tuple(held.hold for held in state.holds)
    events = tuple(event for event, _ in state.events)
    basis = (holds, events, state.end_s, language())
    known = _RULINGS.get(basis)
    if known is not None and known[0] is rules:
        return known[1]
    ruling = propose(holds, events, rules, end_s=state.end_s)
    _RULINGS.put(basis, (rules, ruling))
    return ruling


def _confirmed(
    items: Iterable[ReviewItem], state: MatchState, rules: RuleSet
) -> tuple[Mapping[Athlete, Tally], Result | None]:
    awards = [item.award for item in items if item.award is not None]
    marked = [
        event
        for event, entry_id in state.events
        if entry_id is not None or event.event in FRAME_OF_MATCH
    ]
    return score_of(awards, marked, rules)


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
    why = said.reason or f"A person changed it from {_spoken(said.seen)}."
    other = {"clause": clause, "why": why, "criteria": (), "path": ()}
    return replace(said, changes={**said.changes, **other})


def _decided(key: str, said: Said, now: Proposal | None) -> ReviewItem:
    decision = said.decision(now)
    return ReviewItem(key, now, decision, _note(said, decision, now), said.added)


def _note(said: Said, decision: Decision, now: Proposal | None) -> str:
    if said.added:
        return ""
    word = {
        Verdict.CONFIRMED: "Confirmed",
        Verdict.CHANGED: "Changed",
        Verdict.DISMISSED: "Dismissed",
        Verdict.ADDED: "Added",
    }[decision.verdict]
    if now is None:
        return f"{word} as {_spoken(said.seen)}, but nothing is proposed here any more."
    if worth(now) != worth(said.seen):
        return f"{word} as {_spoken(said.seen)}; what is proposed now is {_spoken(now)}."
    return ""


def _spoken(proposal: Proposal) -> str:
    kind = (proposal.would_be or proposal.kind).replace("_", " ")
    if proposal.points:
        return f"{kind}, {proposal.points} points"
    return f"{kind}, an advantage" if proposal.advantage else f"{kind}, no points"
