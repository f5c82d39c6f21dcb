"""What the commands print: progress, the score log as a table, the same as JSON."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import TYPE_CHECKING

from rich.console import Console
from rich.progress import (
    BarColumn,
    MofNCompleteColumn,
    Progress,
    ProgressColumn,
    Task,
    TextColumn,
    TimeRemainingColumn,
)
from rich.table import Table
from rich.text import Text

from posescore.export.sentences import result_words, tally_words
from posescore.library.match import Match
from posescore.library.review.review import Review
from posescore.scoring.log import ruling_to_json
from posescore.scoring.proposal import Proposal, ProposalKind, Ruling, Tally
from posescore.terms import Athlete, silent
from posescore.terms import Progress as Report
from posescore.words import LETTERS, counted, trade, with_names

if TYPE_CHECKING:
    from posescore.evaluation.match import Assessment
    from posescore.library.review.agreement import Agreement


class _Rate(ProgressColumn):
    """How many a second."""

    def render(self, task: Task) -> Text:
        speed = task.finished_speed or task.speed
        return Text("" if speed is None else f"{speed:.0f}/s")


@contextmanager
def progress_bar(quiet: bool) -> Iterator[Report]:
    """A progress bar with rate and time left on the error stream, or silence."""
    if quiet:
        yield silent
        return
    columns = (
        TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), _Rate(),
        TimeRemainingColumn(),
    )  # fmt: skip
    with Progress(*columns, console=Console(stderr=True)) as bar:
        tasks: dict[str, int] = {}

        def report(stage: str, done: int, total: int) -> None:
            if stage not in tasks:
                tasks[stage] = bar.add_task(stage, total=total)
            bar.update(bar.task_ids[tasks[stage]], completed=done, total=total)

        yield report


def clock_text(time_s: float) -> str:
    """Minutes and seconds, to a tenth: ``1:05.3``."""
    tenths = round(time_s * 10)
    return f"{tenths // 600}:{tenths % 600 / 10:04.1f}"


def award_text(proposal: Proposal) -> str:
    """What is proposed, in a word or two."""
    if proposal.kind is ProposalKind.NONE:
        return "no points"
    parts = []
    if proposal.points:
        parts.append(f"{proposal.points} points" if proposal.points != 1 else "1 point")
    if proposal.advantage:
        parts.append("advantage")
    return " + ".join(parts) or "mark"


def _what(proposal: Proposal) -> str:
    kind = proposal.would_be if proposal.kind in (ProposalKind.NEAR, ProposalKind.NONE) else None
    return trade(kind or proposal.kind)


def _table(proposals: tuple[Proposal, ...], names: Mapping[Athlete, str]) -> Table:
    table = Table(title="Proposed score log: nothing counts until a person confirms it")
    table.add_column("time", justify="right", no_wrap=True)
    table.add_column("athlete", min_width=6)
    table.add_column("proposed", no_wrap=True)
    table.add_column("for", min_width=9)
    table.add_column("sure", justify="right", no_wrap=True)
    table.add_column("why", ratio=1)
    table.add_column("clause", no_wrap=True)
    for p in proposals:
        who = names[p.athlete] if p.athlete else "-"
        table.add_row(
            clock_text(p.time_s), who, award_text(p), _what(p),
            f"{p.confidence:.0%}", with_names(p.why, names), p.clause,
        )  # fmt: skip
    return table


def _score_line(score: Mapping[Athlete, Tally], names: Mapping[Athlete, str]) -> str:
    return "   ".join(
        f"{names[a]}: {counted(t.points, 'point')}, {tally_words(t)}" for a, t in score.items()
    )


def _console() -> Console:
    console = Console(highlight=False, markup=False)
    return console if console.is_terminal else Console(highlight=False, markup=False, width=140)


def _print(ruling: Ruling, names: Mapping[Athlete, str]) -> None:
    console = _console()
    if ruling.proposals:
        console.print(_table(ruling.proposals, names))
    else:
        console.print("No position was held long enough to propose anything.")
    console.print(f"If every proposal is confirmed: {_score_line(ruling.score, names)}")
    if ruling.result is not None:
        console.print(f"It would end so: {result_words(ruling.result, names)}")


def print_ruling(ruling: Ruling) -> None:
    """Print the proposals of a score log, the score and the result."""
    _print(ruling, LETTERS)


def print_score_log(match: Match, review: Review) -> None:
    """Print the proposed score log of an analysed match."""
    _print(review.ruling, match.info.names)
    console = _console()
    for finding in review.findings:
        console.print(f"Look at {clock_text(finding.interval.start_s)}: {finding.message}")


def review_json(match: Match, review: Review) -> dict[str, object]:
    """The match with holds, findings and ruling as plain data."""
    return {
        "match": match.id,
        "title": match.info.title,
        "duration_s": review.clock.end_s,
        "holds": [
            {
                "start_s": hold.start_s,
                "end_s": hold.end_s,
                "position": str(hold.position),
                "upper": None if hold.upper is None else str(hold.upper),
                "confidence": round(hold.confidence, 4),
                "checks": {str(check.name): check.value for check in hold.checks},
            }
            for hold in (kept.hold for kept in review.holds)
        ],
        "events": [
            {
                "time_s": event.time_s,
                "event": str(event.event),
                "athlete": None if event.athlete is None else str(event.athlete),
                "confidence": round(event.confidence, 4),
            }
            for event in (kept.event for kept in review.events)
        ],
        "findings": [
            {
                "kind": str(finding.kind),
                "start_s": finding.interval.start_s,
                "end_s": finding.interval.end_s,
                "confidence": round(finding.confidence, 4),
                "message": finding.message,
            }
            for finding in review.findings
        ],
        **ruling_to_json(review.ruling),
    }


def print_assessment(found: Assessment) -> None:
    """Print awards found, missed and false, and the nothings explained or not."""
    table = Table(title="True awards and what was proposed")
    for column in ("time", "athlete", "for", "points", "proposed", "off by", "sure"):
        table.add_column(column)
    for line in found.awards:
        award, p = line.award, line.proposal
        late = "" if line.late_s is None else f"{line.late_s:+.2f} s"
        table.add_row(
            clock_text(award["time_s"]), award["athlete"], trade(award["kind"]),
            str(award["points"]), "missed" if p is None else clock_text(p.time_s), late,
            "" if p is None else f"{p.confidence:.0%}",
        )  # fmt: skip
    console = _console()
    console.print(table)
    for p in found.false_awards:
        console.print(
            f"False ({p.confidence:.0%} sure): {clock_text(p.time_s)} {p.athlete} "
            f"{trade(p.kind)} {award_text(p)}: {with_names(p.why, LETTERS)}"
        )
    for nothing in found.nothings:
        n, p = nothing.nothing, nothing.proposal
        told = "not explained" if p is None else f"explained: {with_names(p.why, LETTERS)}"
        console.print(
            f"Nothing at {clock_text(n['start_s'])} ({trade(n['would_be'])}, "
            f"{trade(n['failed_criterion'])}): {told}"
        )
    explained = sum(nothing.proposal is not None for nothing in found.nothings)
    console.print(
        f"{found.found} of {len(found.awards)} true awards, {len(found.false_awards)} false, "
        f"{explained} of {len(found.nothings)} nothings explained by the right criterion; "
        f"right state {found.right_state:.0%} of the time in a named position; "
        f"both athletes in {found.both_found:.0%} of frames"
    )
    if found.calibration is not None:
        mean, right = found.calibration
        console.print(f"Points proposed: {mean:.2f} sure on the mean, {right:.2f} right")


def print_agreement(found: Agreement) -> None:
    """Print how far two opinions agree and where they differ."""
    console = _console()
    for what, kappa in (("positions", found.position_kappa), ("awards", found.award_kappa)):
        told = "cannot be said" if kappa is None else f"{kappa:.2f}"
        console.print(f"Cohen's kappa over {what}: {told}")
    console.print(f"Same position in {found.same_position:.0%} of the time")
    for line in found.award_differences:
        console.print(f"{clock_text(line.time_s)} {line.what}: {line.one} / {line.other}")
    for stretch in found.differences:
        console.print(
            f"{clock_text(stretch.interval.start_s)} to {clock_text(stretch.interval.end_s)}: "
            f"{stretch.one} / {stretch.other}"
        )
