"""What a report of one match shows, before it is laid out as a page or on paper."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from posescore.errors import NotFoundError
from posescore.export.differences import Difference, differences, ending_lines
from posescore.export.rows import LogLine
from posescore.export.score_drawing import Plot, plot_of
from posescore.export.sentences import sources_of
from posescore.export.shots import USUAL, Shots, Showing, shots_of
from posescore.export.summary import ScoreStep, Summary, summary_of
from posescore.export.telling import LineText, text_of
from posescore.export.unnamed import hidden_text, shown_match
from posescore.export.unseen import unseen_words
from posescore.library.library import Library
from posescore.library.match import Match
from posescore.library.review.review import Review
from posescore.terms import Athlete, Progress, silent
from posescore.words import WORDS, clock_words, phrase


@dataclass(frozen=True, slots=True)
class Report:
    """Everything a report shows of a match, before it is laid out.

    An advantage for what nearly scored is among the awards (or proposed) and the near misses.
    """

    match: Match
    review: Review
    names: Mapping[Athlete, str]
    summary: Summary
    awards: Sequence[LineText]
    proposed: Sequence[LineText]
    behind: Sequence[LineText]
    near: Sequence[LineText]
    no_pictures: str
    showing: Showing
    with_proposed: bool
    ending: Sequence[str]
    """Result, end and official score in sentences."""

    @property
    def division(self) -> str:
        """The division in words, "" where unknown."""
        return " ".join((self.review.division or {}).values())

    @property
    def moments(self) -> tuple[Sequence[LineText], Sequence[LineText]]:
        """Awards and proposals that stand by themselves, not among the near misses."""
        near = {text.line.number for text in self.near}
        one, two = (
            [text for text in group if text.line.number not in near]
            for group in (self.awards, self.proposed)
        )
        return one, two

    @property
    def differences(self) -> tuple[Difference, ...]:
        """Where proposals, confirmed log and scoreboard differ, moment by moment.

        None where only what is confirmed is shown: they would tell what is proposed.
        """
        return differences(self.review, self.names) if self.with_proposed else ()

    @property
    def unseen(self) -> tuple[str, ...]:
        """What was not seen of the match, in sentences."""
        return unseen_words(self.review)

    @property
    def sources(self) -> str:
        """Where the clauses of all lines can be read."""
        texts = (*self.awards, *self.proposed, *self.behind, *self.near)
        clauses = [each.clause for each in texts]
        clauses += [criterion.clause for each in texts for criterion in each.missing]
        return sources_of(clauses, self.review.rule_set) if texts else ""

    @property
    def shown_text(self) -> str:
        """What was done to the pictures, in words."""
        return shown_text(self.showing, bool(self.no_pictures))

    def plots(self, width: float, height: float, margin: float) -> tuple[Plot, Plot]:
        """The curves of the confirmed and of the proposed points, on the same scale."""
        summary, end_s = self.summary, self.review.end_s
        most = max(max(step.points.values()) for step in (*summary.curve, *summary.proposed_curve))
        one, two = (
            plot_of(curve, end_s, width, height, margin, most)
            for curve in (summary.curve, summary.proposed_curve)
        )
        return one, two


def report_of(
    library: Library,
    match_id: int,
    *,
    opinion: str = "",
    proposed: bool = True,
    showing: Showing = USUAL,
    progress: Progress = silent,
) -> Report:
    """Gather a report. Where the footage is gone it has no pictures, and says so.

    ``proposed`` also takes in what nobody decided on yet, marked as that. With faces the names are
    hidden, too (:mod:`posescore.export.unnamed`).

    Raises
    ------
    NotFoundError
        When there is no such match, or it was never analysed.
    InputError
        When faces are to be hidden and cannot be.
    """
    match, review = library.match(match_id), library.review(match_id, opinion)
    shots, no_pictures = shots_or_why(library, match, review, showing)
    match, hide = shown_match(match, showing)
    names, summary = match.info.names, summary_of(review, match)
    groups = (
        summary.awards,
        summary.proposed if proposed else (),
        summary.behind,
        _asked(summary.near, proposed),
    )
    lines = {line.number: line for group in groups for line in group}
    texts: dict[int, LineText] = {}
    for done, (number, line) in enumerate(lines.items(), 1):
        texts[number] = hidden_text(text_of(line, names, shots, review), hide)
        progress("taking pictures", done, len(lines))
    told = ([texts[line.number] for line in group] for group in groups)
    awards, open_lines, behind, near = told
    return Report(
        match, review, names, summary, awards, open_lines, behind, near, no_pictures, showing,
        proposed, [hide(said) for said in ending_lines(review, names)],
    )  # fmt: skip


def _asked(lines: Sequence[LogLine], proposed: bool) -> tuple[LogLine, ...]:
    """The lines, or of them those that people decided."""
    return tuple(line for line in lines if proposed or line.item.decision is not None)


def shots_or_why(
    library: Library, match: Match, review: Review, showing: Showing
) -> tuple[Shots | None, str]:
    """Pictures, or None and a sentence on why there are none."""
    try:
        return shots_of(library, match, review, showing, quick=True), ""
    except NotFoundError:
        return None, phrase("The footage was not at hand, so there are no pictures.")


def shown_text(showing: Showing, no_pictures: bool) -> str:
    """What was done to the pictures, in words."""
    return str(WORDS["notes"]["faces_hidden"]) if showing.hide_faces and not no_pictures else ""


def curve_words(steps: Sequence[ScoreStep], names: Mapping[Athlete, str]) -> str:
    """A curve for those who cannot see it."""
    said = [
        f"{clock_words(step.time_s)} "
        + f" {phrase('to')} ".join(
            f"{names[athlete]} {step.points[athlete]}" for athlete in Athlete
        )
        for step in steps
    ]
    return "; ".join(said) + "."
