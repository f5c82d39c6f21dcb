"""Score log, holds and frames as CSV (RFC 4180, UTF-8), safe to open in a spreadsheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from typing import Final, NamedTuple

from posescore.export.rows import ROUNDING_S, LogLine, frames_of, lines_of, name_of
from posescore.export.sentences import why_of
from posescore.library.match import Match
from posescore.library.review.entries import ReviewHold
from posescore.library.review.review import Review
from posescore.library.store.plain import utf8
from posescore.terms import Position
from posescore.words import LETTERS

LOG_COLUMNS: Final = (
    "match", "line", "status", "time_s", "frame_index", "athlete", "athlete_name", "kind",
    "would_be", "awarded_points", "awarded_advantage", "proposed_kind", "proposed_points",
    "proposed_advantage", "confidence", "clause", "why", "decided_by", "decided_at", "reason",
    "evidence_start_s", "evidence_end_s", "evidence_first_frame", "evidence_last_frame", "note",
    "behind_end",
)  # fmt: skip
HOLD_COLUMNS: Final = (
    "match", "hold", "start_s", "end_s", "first_frame", "last_frame", "position", "upper",
    "upper_name", "confidence", "edited", "checks",
)  # fmt: skip

FRAME_COLUMNS: Final = (
    "frame_index", "time_s", "position", "upper", "confidence", "named_by",
)  # fmt: skip

_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r", "\n")


def safe_cell(text: str) -> str:
    """Text that no spreadsheet takes for a formula: a quotation mark goes before one."""
    return f"'{text}" if text.lstrip(" ").startswith(_FORMULA) or text[:1] in _FORMULA else text


def csv_text(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Rows under their columns; what a spreadsheet would take for a formula is made text."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(columns)
    writer.writerows(
        [safe_cell(cell) if isinstance(cell, str) else cell for cell in row] for row in rows
    )
    return utf8(text.getvalue())


def log_csv(review: Review, match: Match) -> str:
    """The score log, a line for each proposal and each added award.

    ``awarded_points`` and ``awarded_advantage`` are empty until a person decided, and 0 where
    dismissed or behind the end; what the program proposed stands in columns of its own. What
    penalties give the opponent is counted in the score and awarded in no line.
    """
    return csv_text(LOG_COLUMNS, [_log_row(line, match) for line in lines_of(review, match)])


def _log_row(line: LogLine, match: Match) -> list[object]:
    item, shown, decision = line.item, line.item.shown, line.item.decision
    award, proposal = item.award, item.proposal
    said: list[object] = ["", "", ""]
    awarded: list[object] = ["", ""]
    if decision is not None:
        said = [decision.author, decision.made_at.isoformat(), decision.reason]
        counts = award is not None and not item.behind_end
        awarded = [award.points, award.advantage] if award and counts else [0, 0]
    proposed: list[object] = ["", "", "", ""]
    if proposal is not None:
        confidence = f"{proposal.confidence:.3f}"
        proposed = [str(proposal.kind), proposal.points, proposal.advantage, confidence]
    return [
        match.info.title, line.number, line.status, f"{line.time_s:.3f}", line.frame_index,
        str(shown.athlete or ""), line.athlete_name, str(shown.kind), str(shown.would_be or ""),
        *awarded, *proposed, shown.clause, why_of(line, LETTERS), *said,
        f"{line.evidence.start_s:.3f}", f"{line.evidence.end_s:.3f}",
        line.first_frame, line.last_frame, item.note, "yes" if item.behind_end else "no",
    ]  # fmt: skip


def holds_csv(review: Review, match: Match) -> str:
    """The holds, a line each; ``checks`` lists what was seen of the criteria."""
    rows: list[list[object]] = []
    for number, held in enumerate(review.holds, 1):
        hold = held.hold
        checks = "; ".join(f"{check.name}={check.value}" for check in hold.checks)
        rows.append([
            match.info.title, number, f"{hold.start_s:.3f}", f"{hold.end_s:.3f}",
            *frames_of(review.clock, hold.interval), str(hold.position), str(hold.upper or ""),
            name_of(match, hold.upper), f"{hold.confidence:.3f}", "yes" if held.edited else "no",
            checks,
        ])  # fmt: skip
    return csv_text(HOLD_COLUMNS, rows)


def frames_csv(review: Review) -> str:
    """The position in every frame, a line each: labels to learn from or to measure with.

    ``named_by`` is ``person`` where somebody edited the hold, else ``program``; its confidence is
    empty between holds, where the position is scramble.
    """
    times_s = review.clock.pts_s.tolist()
    rows = [
        (frame_index, f"{time_s:.3f}", *label)
        for frame_index, (time_s, label) in enumerate(
            zip(times_s, frame_labels(review), strict=True)
        )
    ]
    return csv_text(FRAME_COLUMNS, rows)


class FrameLabel(NamedTuple):
    """What a frame is named; the texts are as tables write them, "" for none."""

    position: str
    upper: str
    confidence: str
    named_by: str


def frame_labels(review: Review) -> Iterator[FrameLabel]:
    """The label of every frame, in order; scramble between holds."""
    holds = iter(review.holds)
    held = next(holds, None)
    for time_s in review.clock.pts_s.tolist():
        while held is not None and held.hold.end_s <= time_s + ROUNDING_S:
            held = next(holds, None)
        within = held is not None and held.hold.start_s <= time_s + ROUNDING_S
        yield _BETWEEN if held is None or not within else _label(held)


def _label(held: ReviewHold) -> FrameLabel:
    hold, by = held.hold, "person" if held.edited else "program"
    return FrameLabel(str(hold.position), str(hold.upper or ""), f"{hold.confidence:.3f}", by)


_BETWEEN: Final = FrameLabel(str(Position.SCRAMBLE), "", "", "program")
