"""What the API sends of a review as a whole: how the match ended, and everything together."""

from __future__ import annotations

from posescore.scoring.match_clock import EndedBy
from posescore.scoring.outcome import WonBy
from posescore.scoring.proposal import ProposalKind
from posescore.terms import Athlete
from posescore.web.api.schemas import (
    EventOut,
    ExportOut,
    FindingOut,
    FootageOut,
    HoldOut,
    MatchClockOut,
    MatchOut,
    Out,
    ProposalOut,
    ResultOut,
    ScoreOut,
    ScoreStepOut,
    StretchOut,
    TallyOut,
    TrackOut,
)


class EndOut(Out):
    """When the match ended, in seconds of footage, and what ended it, in a sentence too."""

    time_s: float
    by: EndedBy
    words: str


class OutcomeOut(Out):
    """Who won and how; ``winner`` is null for a draw."""

    winner: Athlete | None
    by: WonBy
    submission: str
    note: str


class ReadingOut(Out):
    """What the scoreboard showed; ``at_s`` is null for the end of the match."""

    at_s: float | None
    score: dict[Athlete, TallyOut]


class DifferenceOut(Out):
    """A moment at which proposals, confirmed log and scoreboard are not the same."""

    time_s: float | None
    what: str
    proposed: str
    confirmed: str
    board: str
    differs: bool


class EndingOut(Out):
    """How the match ended: its end, what a person entered, the scoreboard, and where they differ.

    ``words`` says the result that stands, ``official`` the official score beside the log.
    """

    end: EndOut | None
    outcome: OutcomeOut | None
    readings: list[ReadingOut]
    words: str
    official: str
    differences: list[DifferenceOut]


class ReviewOut(Out):
    """A match as it stands. ``undo`` and ``redo`` say in words what they would act on.

    ``opinion`` names whose independent review it is, empty for the shared log; ``read_only`` says
    why nothing can be edited, empty where everything can.
    """

    match: MatchOut
    analysis_version: int
    last_entry_id: int
    footage: FootageOut
    track: TrackOut | None
    holds: list[HoldOut]
    events: list[EventOut]
    proposals: list[ProposalOut]
    score: ScoreOut
    curve: list[ScoreStepOut]
    result: ResultOut | None
    ending: EndingOut
    unseen: list[str]
    findings: list[FindingOut]
    swaps: list[StretchOut]
    set_aside: list[str]
    match_clock: MatchClockOut
    values: dict[ProposalKind, int]
    exports: list[ExportOut]
    undo: str | None
    redo: str | None
    opinion: str
    read_only: str
