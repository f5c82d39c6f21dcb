"""What the commands print: progress, the score log as a table, the same as JSON."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict
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

from posescore.export.sentences import kind_of, result_words, tally_words, worth
from posescore.library.match import Match
from posescore.library.review.review import Review
from posescore.scoring.log import ruling_to_json
from posescore.scoring.proposal import Proposal, Ruling, Tally
from posescore.terms import Athlete, silent
from posescore.terms import Progress as Report
from posescore.words import LETTERS, clock_words, counted, trade, with_names

if TYPE_CHECKING:
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
            clock_words(p.time_s), who, worth(p), trade(kind_of(p)),
            f"{p.confidence:.0%}", with_names(p.why, names), p.clause,
        )  # fmt: skip
    return table


def _score_line(score: Mapping[Athlete, Tally], names: Mapping[Athlete, str]) -> str:
    return "   ".join(
        f"{names[a]}: {counted(t.points, 'point')}, {tally_words(t)}" for a, t in score.items()
    )


def plain_console() -> Console:
    """A console that prints text as it is, wide where nobody looks at a screen."""
    console = Console(highlight=False, markup=False)
    return console if console.is_terminal else Console(highlight=False, markup=False, width=140)


def _print(ruling: Ruling, names: Mapping[Athlete, str]) -> None:
    console = plain_console()
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
    console = plain_console()
    for finding in review.findings:
        console.print(f"Look at {clock_words(finding.interval.start_s)}: {finding.message}")


def review_json(match: Match, review: Review) -> dict[str, object]:
    """The match with holds, findings and ruling as plain data."""
    return {
        "match": match.id,
        "title": match.info.title,
        "duration_s": review.clock.end_s,
        "holds": [
            asdict(kept.hold) | {"checks": {c.name: c.value for c in kept.hold.checks}}
            for kept in review.holds
        ],
        "events": [asdict(kept.event) for kept in review.events],
        "findings": [
            {"kind": f.kind, **asdict(f.interval), "confidence": f.confidence, "message": f.message}
            for f in review.findings
        ],
        **ruling_to_json(review.ruling),
    }


def print_agreement(found: Agreement) -> None:
    """Print how far two opinions agree and where they differ."""
    console = plain_console()
    for what, kappa in (("positions", found.position_kappa), ("awards", found.award_kappa)):
        told = "cannot be said" if kappa is None else f"{kappa:.2f}"
        console.print(f"Cohen's kappa over {what}: {told}")
    console.print(f"Same position in {found.same_position:.0%} of the time")
    for line in found.award_differences:
        console.print(f"{clock_words(line.time_s)} {line.what}: {line.one} / {line.other}")
    for stretch in found.differences:
        console.print(
            f"{clock_words(stretch.interval.start_s)} to {clock_words(stretch.interval.end_s)}: "
            f"{stretch.one} / {stretch.other}"
        )
