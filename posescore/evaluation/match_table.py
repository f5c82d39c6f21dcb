"""What was found of a match, and what was missed, as a table for a terminal."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table

from posescore.evaluation.match import Assessment
from posescore.export.sentences import worth
from posescore.words import LETTERS, clock_words, trade, with_names


def print_assessment(found: Assessment, console: Console) -> None:
    """Print awards found, missed and false, and the nothings explained or not."""
    table = Table(title="True awards and what was proposed")
    for column in ("time", "athlete", "for", "points", "proposed", "off by", "sure"):
        table.add_column(column)
    for line in found.awards:
        award, p = line.award, line.proposal
        late = "" if line.late_s is None else f"{line.late_s:+.2f} s"
        table.add_row(
            clock_words(award["time_s"]), award["athlete"], trade(award["kind"]),
            str(award["points"]), "missed" if p is None else clock_words(p.time_s), late,
            "" if p is None else f"{p.confidence:.0%}",
        )  # fmt: skip
    console.print(table)
    for p in found.false_awards:
        console.print(
            f"False ({p.confidence:.0%} sure): {clock_words(p.time_s)} {p.athlete} "
            f"{trade(p.kind)} {worth(p)}: {with_names(p.why, LETTERS)}"
        )
    for nothing in found.nothings:
        n, p = nothing.nothing, nothing.proposal
        told = "not explained" if p is None else f"explained: {with_names(p.why, LETTERS)}"
        console.print(
            f"Nothing at {clock_words(n['start_s'])} ({trade(n['would_be'])}, "
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
