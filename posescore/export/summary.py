"""What a report says of a match, apart from how it looks: pure functions of a review."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from posescore.export.rows import LogLine, lines_of
from posescore.library.match import Match
from posescore.library.review.review import Review, ReviewItem, Verdict
from posescore.scoring.proposal import Proposal, ProposalKind
from posescore.scoring.score import is_penalty_mark, score_of
from posescore.terms import Athlete, Interval, Position


@dataclass(frozen=True, slots=True)
class ScoreStep:
    """The points from an instant on."""

    time_s: float
    points: Mapping[Athlete, int]


@dataclass(frozen=True, slots=True)
class PositionTime:
    """Seconds of a match in one position.

    ``upper_s`` are seconds on top or behind by athlete, ``nobody_s`` those in which nobody is
    (standing and scramble).
    """

    position: Position
    upper_s: Mapping[Athlete, float]
    nobody_s: float

    @property
    def total_s(self) -> float:
        """All of it."""
        return self.nobody_s + sum(self.upper_s.values())


@dataclass(frozen=True, slots=True)
class Summary:
    """What a report says of a match.

    Parameters
    ----------
    awards
        Lines worth points or an advantage, and penalties, that people let stand.
    proposed
        The same, still undecided.
    behind
        Awards that people let stand behind the end of the match: they count nothing.
    near
        What looked like a score and was none, or an advantage only; dismissed lines included.
    curve, proposed_curve
        Points over time: by people's decisions alone, and if every proposal stood.
    positions
        Time in each position, longest first; positions that did not occur are left out.
    """

    awards: tuple[LogLine, ...]
    proposed: tuple[LogLine, ...]
    behind: tuple[LogLine, ...]
    near: tuple[LogLine, ...]
    curve: tuple[ScoreStep, ...]
    proposed_curve: tuple[ScoreStep, ...]
    positions: tuple[PositionTime, ...]


def summary_of(review: Review, match: Match) -> Summary:
    """Everything a report says of a match."""
    lines = lines_of(review, match)
    left = [line for line in lines if not _dismissed(line.item) and not line.item.behind_end]
    return Summary(
        awards=tuple(x for x in left if x.item.decision is not None and is_award(x.item.shown)),
        proposed=tuple(x for x in left if x.item.decision is None and is_award(x.item.shown)),
        behind=tuple(line for line in lines if line.item in review.behind_end),
        near=tuple(
            x
            for x in lines
            if _dismissed(x.item) or (_near(x.item.shown) and not x.item.behind_end)
        ),
        curve=curve_of(review.counted, review),
        proposed_curve=curve_of(review.counted_as_proposed, review),
        positions=time_in_positions(review),
    )


def is_award(proposal: Proposal) -> bool:
    """True for points, an advantage, or the mark of a penalty."""
    return bool(proposal.points or proposal.advantage) or is_penalty_mark(proposal)


def _dismissed(item: ReviewItem) -> bool:
    return item.decision is not None and item.decision.verdict is Verdict.DISMISSED


def _near(proposal: Proposal) -> bool:
    return proposal.kind in (ProposalKind.NEAR, ProposalKind.NONE)


def curve_of(awards: Iterable[Proposal], review: Review) -> tuple[ScoreStep, ...]:
    """Points after every award, from 0 on; what penalties give is counted when they happen."""
    given = sorted(awards, key=lambda award: award.time_s)
    steps = [ScoreStep(0.0, dict.fromkeys(Athlete, 0))]
    for time_s in sorted({award.time_s for award in given}):
        score, _ = score_of([each for each in given if each.time_s <= time_s], (), review.rule_set)
        points = {athlete: score[athlete].points for athlete in Athlete}
        if points != steps[-1].points:
            steps.append(ScoreStep(time_s, points))
    return tuple(steps)


def time_in_positions(review: Review) -> tuple[PositionTime, ...]:
    """Seconds in each position up to the end of the match.

    What no hold covers is scramble, so that all adds up.
    """
    live = Interval(0.0, review.end_s)
    covered_s = 0.0
    upper = {position: dict.fromkeys(Athlete, 0.0) for position in Position}
    nobody = dict.fromkeys(Position, 0.0)
    for held in review.holds:
        hold, lasted_s = held.hold, held.hold.interval.overlap_s(live)
        covered_s += lasted_s
        if hold.upper is None:
            nobody[hold.position] += lasted_s
        else:
            upper[hold.position][hold.upper] += lasted_s
    nobody[Position.SCRAMBLE] += max(0.0, live.duration_s - covered_s)
    times = [PositionTime(each, upper[each], nobody[each]) for each in Position]
    return tuple(sorted((t for t in times if t.total_s > 0.05), key=lambda t: -t.total_s))
