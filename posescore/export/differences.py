"""Where proposals, the confirmed log and the scoreboard differ, moment by moment."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from posescore.export.sentences import Names, award_words
from posescore.library.review.review import Review, ReviewItem
from posescore.library.review.saying import outcome_words, score_words
from posescore.scoring.outcome import Reading
from posescore.scoring.proposal import Proposal, Tally
from posescore.scoring.score import score_of
from posescore.terms import Athlete
from posescore.words import WORDS, clock_words, with_names


@dataclass(frozen=True, slots=True)
class Difference:
    """One moment: a line on which people and program differ, or a reading of the scoreboard.

    Parameters
    ----------
    time_s
        Seconds of footage; None for the end of the match.
    what
        The line, or that the scoreboard was read.
    proposed, confirmed, board
        What each says, "" where it says nothing here.
    differs
        True where the scoreboard and the confirmed log are not the same; for a line, where what
        stands is not what was proposed.
    """

    time_s: float | None
    what: str
    proposed: str
    confirmed: str
    board: str
    differs: bool


def differences(review: Review, names: Names) -> tuple[Difference, ...]:
    """All moments in time order, the end of the match last."""
    lines = [_line(item, names) for item in review.items if _is_other(item)]
    readings = [_reading(each, review) for each in review.readings]
    found = sorted(
        [*lines, *readings], key=lambda d: float("inf") if d.time_s is None else d.time_s
    )
    return tuple(found)


def _is_other(item: ReviewItem) -> bool:
    """True where what counts in a line is not what was proposed, or nobody said anything yet."""
    proposed = _worth(item.proposal)
    counts = None if item.behind_end else item.award
    return proposed != _worth(counts) and (proposed is not None or counts is not None)


def _worth(award: Proposal | None) -> tuple[object, ...] | None:
    """What an award pays and to whom; None for nothing."""
    if award is None or not (award.points or award.advantage or award.kind == "penalty"):
        return None
    return award.athlete, award.points, award.advantage, award.kind == "penalty"


def _line(item: ReviewItem, names: Names) -> Difference:
    words, shown = WORDS["differences"], item.shown
    confirmed = words["open"]
    if item.behind_end:
        confirmed = WORDS["ended"]["settled_behind"]
    elif item.decision is not None:
        confirmed = words["dismissed"] if item.award is None else _said(item.award, names)
    proposed = words["not_proposed"] if item.proposal is None else _said(item.proposal, names)
    return Difference(shown.time_s, award_words(shown), proposed, confirmed, "", True)


def _said(award: Proposal, names: Names) -> str:
    who = names[award.athlete] if award.athlete else WORDS["stands"]["nobody"]
    return f"{award_words(award)}, {who}"


def _reading(reading: Reading, review: Review) -> Difference:
    at_s = review.end_s if reading.at_s is None else reading.at_s
    confirmed = review.confirmed_score
    proposed = review.proposed_score
    if reading.at_s is not None:
        confirmed = _by(review.counted, at_s, review)
        proposed = _by(review.counted_as_proposed, at_s, review)
    what = WORDS["differences"]["official" if reading.at_s is None else "reading"]
    differs = any(confirmed[athlete] != reading.score[athlete] for athlete in Athlete)
    return Difference(
        reading.at_s, what, score_words(proposed), score_words(confirmed),
        score_words(reading.score), differs,
    )  # fmt: skip


def _by(awards: Iterable[Proposal], at_s: float, review: Review) -> Mapping[Athlete, Tally]:
    """The score by an instant."""
    given = [award for award in awards if award.time_s <= at_s]
    return score_of(given, (), review.rule_set)[0]


def result_line(review: Review, names: Names) -> str:
    """How the match ended, and by whose word; "" while it has no result."""
    words = WORDS["differences"]
    if review.result is None:
        return str(words["level"]) if review.official_score is not None else ""
    said = with_names(outcome_words(review.result), names)
    if review.outcome is not None:
        source = words["as_entered"]
    else:
        source = words["by_log" if review.official_score is None else "by_board"]
    note = f" {review.result.note}" if review.result.note else ""
    return f"{said}{note} {source}"


def end_line(review: Review) -> str:
    """When the match ended and what ended it; "" where only the footage ends."""
    if review.end is None:
        return ""
    said = WORDS["ended"][review.end.by].format(time=clock_words(review.end.time_s))
    return str(said)


def ending_lines(review: Review, names: Names) -> tuple[str, ...]:
    """Result, end and official score in sentences; what is not known is left out."""
    said = (result_line(review, names), end_line(review), official_line(review))
    return tuple(each for each in said if each)


def official_line(review: Review) -> str:
    """The official score, and whether the confirmed log says the same; "" where there is none."""
    board = review.official_score
    if board is None:
        return ""
    words = WORDS["differences"]
    same = all(review.confirmed_score[athlete] == board[athlete] for athlete in Athlete)
    return str(words["same" if same else "differ"].format(
        board=score_words(board), log=score_words(review.confirmed_score)
    ))  # fmt: skip
