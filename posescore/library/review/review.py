"""A match as it stands: what the program proposes, and what people made of it.

``replay`` is a pure function: the same analysis and the same log always give the same review.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from posescore.errors import InputError
from posescore.footage.clock import FrameClock
from posescore.holds.event import MatchEvent
from posescore.library.review.entries import Entry, ReviewHold
from posescore.pose.track import Finding
from posescore.scoring.match_clock import EndedBy
from posescore.scoring.outcome import Outcome, Reading, WonBy, outcome_of_score
from posescore.scoring.proposal import Proposal, Result, Ruling, Tally
from posescore.scoring.rules import RuleSet
from posescore.terms import Athlete, Interval


class Verdict(StrEnum):
    """What a person said of a proposal."""

    CONFIRMED = "confirmed"
    CHANGED = "changed"
    DISMISSED = "dismissed"
    ADDED = "added"


@dataclass(frozen=True, slots=True)
class Decision:
    """What a person said of a proposal: who, when, what stands, and why.

    Parameters
    ----------
    entry_id
        The entry of the log.
    seen
        The proposal as the person saw it (for ADDED: the award itself).
    award
        What stands; None where dismissed.
    replaces
        Entry of the decision on the same proposal that this one replaced.
    by_mark
        True where the person marked what the line rests on, and so has said so already.
    """

    entry_id: int
    author: str
    made_at: datetime
    verdict: Verdict
    seen: Proposal
    award: Proposal | None
    reason: str = ""
    replaces: int | None = None
    by_mark: bool = False


@dataclass(frozen=True, slots=True)
class ReviewItem:
    """A line of the score log: a proposal, a decision, or both.

    Parameters
    ----------
    key
        Names the line; stays the same while holds around it are edited.
    proposal
        What the engine proposes now; None for added awards, and where edits or a new analysis
        left nothing to propose.
    decision
        None while undecided.
    note
        One sentence where the proposal is no longer what was decided on; else "".
    added
        True where a person added the line; no proposal ever stood behind it.
    behind_end
        True where its instant lies behind the end of the match: it counts nothing.
    """

    key: str
    proposal: Proposal | None
    decision: Decision | None = None
    note: str = ""
    added: bool = False
    behind_end: bool = False

    @property
    def award(self) -> Proposal | None:
        """What a person let stand; None while undecided and where dismissed."""
        return self.decision.award if self.decision else None

    @property
    def shown(self) -> Proposal:
        """What to show in the line: what stands, else what is proposed, else what was seen."""
        shown = self.award or self.proposal
        if shown is not None:
            return shown
        assert self.decision is not None, "an item has a proposal or a decision"
        return self.decision.seen

    @property
    def status(self) -> str:
        """The verdict, or ``"proposed"`` while undecided."""
        return self.decision.verdict.value if self.decision else "proposed"

    @property
    def vanished(self) -> bool:
        """True where a decision stands on a proposal that is no longer made."""
        return self.proposal is None and not self.added


@dataclass(frozen=True, slots=True)
class ReviewEvent:
    """An event as it stands; ``entry_id`` is the mark of a person, None where inferred."""

    key: str
    event: MatchEvent
    entry_id: int | None = None


@dataclass(frozen=True, slots=True)
class End:
    """When the match ended, seconds of footage, and what ended it."""

    time_s: float
    by: EndedBy


@dataclass(frozen=True, slots=True)
class SetAside:
    """An entry that does not apply to the analysis shown, and why. It stays in the log."""

    entry: Entry
    why: str


@dataclass(frozen=True, slots=True, eq=False)
class Review:
    """A match as it stands.

    Parameters
    ----------
    analysis_version
        The analysis it rests on.
    rules, rule_set, division
        Name of the rule set in force, the rule set, and the division.
    holds, events
        In time order, after edits.
    items
        The lines of the score log, in time order.
    ruling
        What the engine makes of holds and events; ``ruling.score`` is the proposed score.
    confirmed_score
        What stands by people's decisions alone.
    confirmed_result
        The result if the match ended with that score.
    proposed_score, proposed_result
        What would stand if every line that still waits were confirmed as proposed.
    end
        When the match ended; None where only the footage ends. Nothing counts behind it.
    outcome
        Who won and how, as a person entered it.
    readings
        What the scoreboard showed, in time order, the official score of the end last.
    swaps
        Stretches in which A and B of the track are exchanged; ``end_s`` is the footage's end
        where the swap has none.
    set_aside
        Entries that do not apply here.
    entries
        Entries in force, oldest first.
    next_undo, next_redo
        What undo and redo would act on; None where there is nothing.
    last_entry_id
        The newest entry of the log, undo and redo included; 0 for an untouched match.
    """

    analysis_version: int
    rules: str
    rule_set: RuleSet
    division: Mapping[str, str] | None
    clock: FrameClock
    holds: tuple[ReviewHold, ...]
    events: tuple[ReviewEvent, ...]
    items: tuple[ReviewItem, ...]
    ruling: Ruling
    confirmed_score: Mapping[Athlete, Tally]
    confirmed_result: Result | None
    proposed_score: Mapping[Athlete, Tally]
    proposed_result: Result | None
    end: End | None = None
    outcome: Outcome | None = None
    readings: tuple[Reading, ...] = ()
    findings: tuple[Finding, ...] = ()
    swaps: tuple[Interval, ...] = ()
    set_aside: tuple[SetAside, ...] = ()
    entries: tuple[Entry, ...] = ()
    next_undo: Entry | None = None
    next_redo: Entry | None = None
    last_entry_id: int = 0
    track_sha256: str = ""

    @property
    def official_score(self) -> Mapping[Athlete, Tally] | None:
        """What the scoreboard showed at the end of the match."""
        return next((each.score for each in self.readings if each.at_s is None), None)

    @property
    def result(self) -> Outcome | None:
        """The result that stands; None while there is none.

        What a person entered comes first, then what the official score says, then, once the match
        ended and nothing waits any more, what people confirmed.
        """
        if self.outcome is not None:
            return self.outcome
        if self.official_score is not None:
            return outcome_of_score(self.official_score, self.rule_set)
        found = self.confirmed_result
        if self.end is None or self.undecided or found is None or found.winner is None:
            return None
        return Outcome(found.winner, WonBy(found.by))

    @property
    def counted(self) -> tuple[Proposal, ...]:
        """Awards that people let stand before the end, in time order: those that count."""
        return tuple(
            item.award for item in self.items if item.award is not None and not item.behind_end
        )

    @property
    def counted_as_proposed(self) -> tuple[Proposal, ...]:
        """The same, with every line that still waits as proposed."""
        lines = (item for item in self.items if not item.behind_end)
        awards = (item.award if item.decision else item.proposal for item in lines)
        return tuple(award for award in awards if award is not None)

    @property
    def end_s(self) -> float:
        """Where the match ends, seconds of footage: its own end, else that of the footage."""
        return self.clock.end_s if self.end is None else min(self.end.time_s, self.clock.end_s)

    @property
    def behind_end(self) -> tuple[ReviewItem, ...]:
        """Awards that people let stand behind the end: they count nothing, and ask for a word."""
        return tuple(item for item in self.items if item.behind_end and item.award is not None)

    @property
    def undecided(self) -> tuple[ReviewItem, ...]:
        """Lines that still wait for a person, in time order."""
        return tuple(item for item in self.items if item.decision is None)

    def item(self, key: str) -> ReviewItem | None:
        """The line of that key."""
        return next((item for item in self.items if item.key == key), None)

    def hold(self, key: str) -> ReviewHold | None:
        """The hold of that key."""
        return next((hold for hold in self.holds if hold.key == key), None)

    def event(self, key: str) -> ReviewEvent | None:
        """The event of that key."""
        return next((event for event in self.events if event.key == key), None)


def inside_footage(time_s: float, end_s: float, field: str = "time_s") -> None:
    """Refuse an instant outside the footage.

    Raises
    ------
    InputError
        One sentence that names the field.
    """
    if not 0 <= time_s <= end_s:
        raise InputError(f"{field}: {time_s:g} s is outside the footage, 0 to {end_s:.3f} s.")
