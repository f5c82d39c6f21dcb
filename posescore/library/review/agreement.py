"""Two people's opinions of one match, laid side by side: where they differ, how much they agree.

Cohen's kappa (J. Cohen, A coefficient of agreement for nominal scales, 1960) is the agreement
beyond what two people would reach who name the same things as often but at random: 1 is full
agreement, 0 is chance. Over time every second weighs the same, whatever the frame rate.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from posescore.errors import ConflictError, InputError, NotFoundError
from posescore.library.library import Library
from posescore.library.review.decisions import SAME_AWARD_S
from posescore.library.review.review import Review, ReviewItem
from posescore.scoring.proposal import Proposal
from posescore.terms import Interval, Position, State

LISTED_FROM_S: Final = 0.5
"""Shorter differences of positions are counted and not listed: two hands never press at the same
instant."""
NOTHING: Final = "nothing"
"""What a dismissed line leaves standing."""


@dataclass(frozen=True, slots=True)
class PositionDifference:
    """A stretch that the two name differently."""

    interval: Interval
    one: State
    other: State


@dataclass(frozen=True, slots=True)
class AwardPair:
    """One line of the score log in both opinions.

    ``one`` and ``other`` say what stands: an award in words, :data:`NOTHING`, or None where that
    person has not decided. ``one_key`` and ``other_key`` name the line in each opinion, "" where it
    is not there.
    """

    time_s: float
    what: str
    one: str | None
    other: str | None
    one_key: str = ""
    other_key: str = ""

    @property
    def decided(self) -> bool:
        """Both have spoken."""
        return self.one is not None and self.other is not None

    @property
    def differs(self) -> bool:
        """Both have spoken, and not the same."""
        return self.decided and self.one != self.other


@dataclass(frozen=True, slots=True)
class Agreement:
    """How far two opinions of one match agree.

    Parameters
    ----------
    one, other
        The opinions' names; "" is the shared log.
    position_kappa
        Over time, states of position and upper athlete. None where both name one and the same
        state throughout: then chance agrees as well, and kappa says nothing.
    same_position
        Fraction of the time in which both name the same state.
    award_kappa
        Over the lines on which both have decided; None where there are none, or only one answer.
    awards
        All lines, in time order.
    differences
        Stretches of at least :data:`LISTED_FROM_S` that are named differently.
    """

    one: str
    other: str
    position_kappa: float | None
    same_position: float
    award_kappa: float | None
    awards: tuple[AwardPair, ...]
    differences: tuple[PositionDifference, ...]

    @property
    def award_differences(self) -> tuple[AwardPair, ...]:
        """Lines on which both decided, and differently."""
        return tuple(pair for pair in self.awards if pair.differs)

    def to_json(self) -> dict[str, object]:
        """Plain data."""
        return {
            "one": self.one,
            "other": self.other,
            "position_kappa": self.position_kappa,
            "same_position": self.same_position,
            "award_kappa": self.award_kappa,
            "awards": [
                {"time_s": each.time_s, "what": each.what, "one": each.one, "other": each.other,
                 "differs": each.differs}
                for each in self.awards
            ],
            "position_differences": [
                {"start_s": each.interval.start_s, "end_s": each.interval.end_s,
                 "one": str(each.one), "other": str(each.other)}
                for each in self.differences
            ],
        }  # fmt: skip


def compare_opinions(library: Library, match_id: int, one: str, other: str) -> Agreement:
    """Compare two opinions of a match of the library; "" is the shared log.

    Raises
    ------
    NotFoundError
        When there is no such match or opinion.
    InputError
        When both are the same.
    """
    for name in (one, other):
        check_opinion(library, match_id, name)
    if one == other:
        raise InputError("an opinion agrees with itself: name two.")
    return agreement(library.review(match_id, one), library.review(match_id, other), (one, other))


def check_opinion(library: Library, match_id: int, name: str) -> None:
    """Refuse the name of an opinion that nobody began; "" is the shared log.

    Raises
    ------
    NotFoundError
        One sentence with the names that are there.
    """
    known = ["", *(each for each in library.opinions(match_id) if each)]
    if name not in known:
        names = ", ".join(repr(each) for each in known if each)
        choose = f"choose from {names}" if names else "nobody has begun one"
        raise NotFoundError(f"match {match_id} has no opinion {name!r}: {choose}.")


def agreement(one: Review, other: Review, names: tuple[str, str] = ("", "")) -> Agreement:
    """Compare two reviews of the same analysis.

    Raises
    ------
    ConflictError
        When they rest on different analyses.
    """
    if one.analysis_version != other.analysis_version:
        raise ConflictError("the two opinions rest on different analyses: compare them on one.")
    stretches = _stretches(one, other)
    lengths_s = [each.interval.duration_s for each in stretches]
    same_s = sum(each.interval.duration_s for each in stretches if each.one == each.other)
    awards = _awards(one.items, other.items)
    decided = [(pair.one, pair.other) for pair in awards if pair.decided]
    return Agreement(
        *names,
        position_kappa=kappa([(each.one, each.other) for each in stretches], lengths_s),
        same_position=same_s / sum(lengths_s),
        award_kappa=kappa(decided),
        awards=awards,
        differences=_differences(stretches),
    )


def kappa(
    pairs: Sequence[tuple[object, object]], weights: Sequence[float] | None = None
) -> float | None:
    """Cohen's kappa of pairs of labels.

    Parameters
    ----------
    weights
        What each pair counts; None counts them equally.

    Returns
    -------
    float or None
        None where it is not defined: no pairs, or one label throughout.
    """
    counts = [1.0] * len(pairs) if weights is None else list(weights)
    total = sum(counts)
    if total <= 0:
        return None
    first: dict[object, float] = defaultdict(float)
    second: dict[object, float] = defaultdict(float)
    agreed = 0.0
    for (a, b), count in zip(pairs, counts, strict=True):
        first[a] += count / total
        second[b] += count / total
        agreed += count / total if a == b else 0.0
    by_chance = sum(part * second.get(label, 0.0) for label, part in first.items())
    if by_chance >= 1 - 1e-12:
        return None
    return min(1.0, (agreed - by_chance) / (1 - by_chance))


# Positions --------------------------------------------------------------------------------------
def _stretches(one: Review, other: Review) -> list[PositionDifference]:
    """The footage cut at every edge of either; both states of each piece."""
    end_s = one.clock.end_s
    edges = {0.0, end_s}
    for held in (*one.holds, *other.holds):
        edges |= {min(max(0.0, at_s), end_s) for at_s in (held.hold.start_s, held.hold.end_s)}
    instants = sorted(edges)
    pieces = [Interval(a, b) for a, b in pairwise(instants)]
    both = (_states(review, pieces) for review in (one, other))
    return [PositionDifference(*each) for each in zip(pieces, *both, strict=True)]


def _states(review: Review, pieces: Iterable[Interval]) -> list[State]:
    """The state of every piece; between holds it is scramble."""
    holds = [held.hold for held in review.holds]
    scramble = State(Position.SCRAMBLE)
    states = []
    for piece in pieces:
        middle_s = (piece.start_s + piece.end_s) / 2
        states.append(next((h.state for h in holds if h.interval.contains(middle_s)), scramble))
    return states


def _differences(stretches: Iterable[PositionDifference]) -> tuple[PositionDifference, ...]:
    joined: list[PositionDifference] = []
    for each in stretches:
        last = joined[-1] if joined else None
        if last is not None and (last.one, last.other) == (each.one, each.other):
            whole = Interval(last.interval.start_s, each.interval.end_s)
            joined[-1] = PositionDifference(whole, each.one, each.other)
        else:
            joined.append(each)
    differing = (each for each in joined if each.one != each.other)
    return tuple(each for each in differing if each.interval.duration_s >= LISTED_FROM_S)


_Both = tuple[ReviewItem | None, ReviewItem | None]


# Awards -----------------------------------------------------------------------------------------
def _awards(one: Sequence[ReviewItem], other: Sequence[ReviewItem]) -> tuple[AwardPair, ...]:
    theirs = {item.key: item for item in other if not item.added}
    pairs: list[_Both] = [(item, theirs.pop(item.key, None)) for item in one if not item.added]
    pairs += _added([item for item in one if item.added], [item for item in other if item.added])
    made = [_pair(mine, yours) for mine, yours in pairs]
    made += [_pair(None, item) for item in theirs.values()]
    return tuple(sorted(made, key=lambda pair: pair.time_s))


def _added(one: Sequence[ReviewItem], other: Sequence[ReviewItem]) -> list[_Both]:
    """Awards that people added, each with the nearest of the same athlete and kind."""
    left, pairs = list(other), list[_Both]()
    for item in one:
        near = [
            (abs(each.shown.time_s - item.shown.time_s), index)
            for index, each in enumerate(left)
            if (each.shown.athlete, each.shown.kind) == (item.shown.athlete, item.shown.kind)
        ]
        close = min(near, default=None)
        found = close is not None and close[0] <= SAME_AWARD_S
        pairs.append((item, left.pop(close[1]) if found and close is not None else None))
    return pairs + [(None, item) for item in left]


def _pair(one: ReviewItem | None, other: ReviewItem | None) -> AwardPair:
    shown = next(item.shown for item in (one, other) if item is not None)
    known = next((i.proposal for i in (one, other) if i is not None and i.proposal), shown)
    keys = (each.key if each else "" for each in (one, other))
    return AwardPair(shown.time_s, award_words(known), _said(one), _said(other), *keys)


def _said(item: ReviewItem | None) -> str | None:
    """What stands in the line; a line that is not there leaves nothing standing."""
    if item is None:
        return NOTHING
    if item.decision is None:
        return None
    return NOTHING if item.award is None else award_words(item.award)


def award_words(award: Proposal) -> str:
    """Say ``A guard_pass 3`` or ``B near:mount advantage``."""
    kind = str(award.kind) + (f":{award.would_be}" if award.would_be else "")
    worth = str(award.points) if award.points else "advantage" if award.advantage else "0"
    return f"{award.athlete or 'nobody'} {kind} {worth}"
