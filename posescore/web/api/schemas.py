"""What the API sends and takes of a match: the shapes that several routers share.

What one router alone sends stands beside it.

Times are seconds of footage; ``A`` and ``B`` are the two athletes; an id names a line of the review
and stays the same while things around it are edited.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import Final, Literal

from pydantic import BaseModel, ConfigDict, Field

from posescore.holds.check import BodyPart
from posescore.holds.event import EventName
from posescore.holds.hold import CheckName
from posescore.library.jobs import JobState
from posescore.pose.track import FindingKind
from posescore.scoring.proposal import ProposalKind
from posescore.terms import Athlete, Position

SOMEBODY: Final = "reviewer"
"""Author where nobody gave a name."""


class Out(BaseModel):
    """Something sent; read off the library's own types field by field."""

    model_config = ConfigDict(from_attributes=True)


class ChangedOut(BaseModel):
    """What an edit met that its author had not seen: who did what, and both sides in words.

    ``last_entry_id`` is what to send as seen to do the edit all the same.
    """

    by: str
    did: str
    line: str
    before: str
    now: str
    last_entry_id: int


class Failure(BaseModel):
    """Any refusal: one sentence for a person; ``changed`` where somebody was faster."""

    error: str
    changed: ChangedOut | None = None


class AthleteOut(Out):
    """One athlete; ``shown`` is the name to print."""

    name: str
    gi_colour: str
    belt: str
    team: str
    shown: str


class MatchOut(Out):
    """A match in the list."""

    id: int
    title: str
    about: str
    event: str
    mat: str
    held_on: date | None
    division: dict[str, str] | None
    rules: str
    duration_s: float | None
    athletes: dict[Athlete, AthleteOut]
    added_at: datetime
    changed_at: datetime
    analysed: bool


class TallyOut(Out):
    """Points, advantages and penalties of one athlete."""

    points: int
    advantages: int
    penalties: int


class ScoreOut(Out):
    """What people confirmed, and what would stand if every proposal were confirmed."""

    confirmed: dict[Athlete, TallyOut]
    proposed: dict[Athlete, TallyOut]


class ResultOut(Out):
    """How the match ends by what is confirmed."""

    winner: Athlete | None
    by: str
    why: str


class CheckOut(Out):
    """One criterion of a hold.

    ``seen`` says the value in words and ``how_seen`` how well it was seen; ``fraction`` is how much
    of the seen time shows it, ``visible`` how much of the time both athletes were seen.
    """

    name: CheckName
    value: bool | int | str
    probability: float
    seen: str
    how_seen: str
    fraction: float | None
    visible: float | None


class HoldOut(Out):
    """A stable position over ``[start_s, end_s)``."""

    id: str
    start_s: float
    end_s: float
    position: Position
    upper: Athlete | None
    confidence: float
    edited: bool
    checks: list[CheckOut]


class EventOut(Out):
    """Something that happened at one instant."""

    id: str
    time_s: float
    event: EventName
    athlete: Athlete | None
    confidence: float
    by_person: bool


class CriterionOut(Out):
    """What the rule asks, whether it was met (null: the footage cannot show it), and how sure.

    What follows from the position alone is as sure as the position.

    ``decides`` marks the one that kept the line from being points. A person can overrule what was
    seen with the edit ``set_check``: ``check`` names it, ``if_met`` and ``if_not`` are its values.
    ``part`` of ``part_of``'s body is where to look.
    """

    name: str
    met: bool | None
    seen: str
    how_seen: str
    fraction: float | None
    visible: float | None
    clause: str
    probability: float
    decides: bool
    check: str
    if_met: bool | int | str | None
    if_not: bool | int | str | None
    part: BodyPart | None
    part_of: Athlete | None


class StillOut(Out):
    """A frame to look at; its picture lies at ``/api/matches/{id}/stills/{frame_index}``."""

    label: str
    time_s: float
    frame_index: int


class StepOut(Out):
    """A position on the way to a line; the numbers are null where no hold of it is there."""

    words: str
    position: Position | None
    start_s: float | None
    end_s: float | None
    confidence: float | None


class AwardOut(Out):
    """What stands after a person's decision."""

    time_s: float
    athlete: Athlete | None
    kind: ProposalKind
    points: int
    advantage: int


class DecisionOut(Out):
    """What a person said of a proposal."""

    verdict: Literal["confirmed", "changed", "dismissed", "added"]
    by: str
    made_at: datetime
    reason: str


class ProposalOut(AwardOut):
    """A line of the score log. The award fields are the program's own.

    ``decided_award`` is what a person let stand in their place; ``still_proposed`` is false where
    the program no longer proposes it. ``start_s`` to ``end_s`` shows it, ``hold`` is the one it is
    about, ``on_the_way`` are the events between the position before and the line. ``look_s`` is
    where to look: its instant, or for what was no points the end of the position that it is about.
    ``confidence`` is how sure all of it together is. ``summary`` says it in two sentences for
    somebody who never trained, ``rule_text`` what the published rule asks, ``sources`` where its
    clauses can be read. ``behind_end`` is true where it lies behind the end of the match and counts
    nothing; ``not_looked_at`` of the ``checked`` criteria nobody looked at: they are taken as met.
    """

    id: str
    clause: str
    why: str
    summary: list[str]
    rule_text: str
    sources: str
    confidence: float
    start_s: float
    end_s: float
    look_s: float
    would_be: ProposalKind | None
    path: list[StepOut]
    on_the_way: list[EventOut]
    criteria: list[CriterionOut]
    stills: list[StillOut]
    hold: str | None
    added: bool
    still_proposed: bool
    note: str
    decision: DecisionOut | None
    decided_award: AwardOut | None
    behind_end: bool
    not_looked_at: int
    checked: int


class FindingOut(Out):
    """A place where the keypoints may be wrong."""

    kind: FindingKind
    start_s: float
    end_s: float
    confidence: float
    message: str


class StretchOut(Out):
    """A stretch of footage."""

    start_s: float
    end_s: float


class FootageOut(Out):
    """The footage as the browser plays it: upright, ``n_frames`` frames ending at ``end_s``."""

    url: str
    width: int
    height: int
    n_frames: int
    end_s: float


class TrackOut(Out):
    """Where the keypoints are: chunk ``i`` lies at ``{url}/{i}`` (see the endpoint for its layout).

    ``first_frames`` holds the first frame index of every chunk.
    """

    url: str
    n_rows: int
    chunk_rows: int
    first_frames: list[int]


class ScoreStepOut(Out):
    """Confirmed points from an instant on."""

    time_s: float
    points: dict[Athlete, int]


class MatchClockOut(Out):
    """Stretches of footage in which the match clock runs, and the published match time if known.

    ``note`` is a sentence where the two do not fit, else empty.
    """

    running: list[tuple[float, float]]
    duration_s: float | None
    note: str


class ExportOut(Out):
    """A format that the score log can be saved in."""

    name: str
    text: str


class JobOut(Out):
    """An analysis that waits, runs or ended; ``remaining_s`` is null where it cannot be said."""

    id: int
    match_id: int
    state: JobState
    progress: float
    stage: str
    message: str
    remaining_s: float | None


class By(BaseModel):
    """Who does it; ``opinion`` names an independent second opinion, empty for the shared log.

    ``seen`` is the ``last_entry_id`` of the review that the person looked at, as ``If-Match`` says
    it too: what changed since is answered 409 with both sides.
    """

    author: str = Field(default="", max_length=60)
    opinion: str = Field(default="", max_length=60)
    seen: int | None = None
