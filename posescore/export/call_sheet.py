"""One page for one call: its frames, every criterion, what each reviewer said, what was settled.

It shows and overturns nothing: the referee's call stands, and the page says so.
"""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Final

from posescore.errors import NotFoundError
from posescore.export.differences import ending_lines
from posescore.export.evidence import stills_of
from posescore.export.page import Link, page
from posescore.export.report_content import shots_or_why
from posescore.export.rows import LogLine, lines_of
from posescore.export.sentences import (
    Names,
    asks_of,
    kind_of,
    seen_words,
    sources_of,
    sure_of,
    title_of,
    two_sentences,
    why_of,
)
from posescore.export.shots import USUAL, Shots, Showing
from posescore.export.unnamed import shown_match
from posescore.library.library import Library
from posescore.library.match import Match
from posescore.library.review.agreement import agreement, check_opinion
from posescore.library.review.review import Review, ReviewItem
from posescore.library.review.saying import line_words
from posescore.library.review.settling import Settlement, settlements
from posescore.scoring.proposal import Criterion
from posescore.words import WORDS, clock_words, with_names

FRAME_WIDTH_PX: Final = 640
"""Sharp at 60 mm on paper (270 dots an inch)."""
SHARED: Final = ""


@dataclass(frozen=True, slots=True)
class FrameShown:
    """One frame: what it shows, and its picture as JPEG, empty where there is no footage."""

    label: str
    at: str
    frame_index: int
    jpeg: bytes

    @property
    def picture(self) -> str:
        """The picture as the address of itself, "" where there is none."""
        coded = b64encode(self.jpeg).decode("ascii")
        return f"data:image/jpeg;base64,{coded}" if self.jpeg else ""


@dataclass(frozen=True, slots=True)
class CriterionShown:
    """One criterion: ``state`` is met, unmet or unseen, ``word`` says so, ``seen`` what was."""

    name: str
    state: str
    word: str
    seen: str
    clause: str


@dataclass(frozen=True, slots=True)
class Said:
    """What one review says of the call: whose, what stands there, the reason, when and by whom."""

    who: str
    stands: str
    by: str
    reason: str


@dataclass(frozen=True, slots=True)
class CallSheet:
    """Everything on the sheet of one call."""

    match: Match
    review: Review
    names: Names
    heading: str
    told: str
    why: str
    sure: str
    asks: str
    sources: str
    frames: Sequence[FrameShown]
    no_pictures: str
    criteria: Sequence[CriterionShown]
    said: Sequence[Said]
    settled: str
    ending: Sequence[str]

    @property
    def about(self) -> str:
        """Event, mat, day and division."""
        info = self.match.info
        division = " ".join((self.review.division or {}).values())
        words = [info.event, info.mat and f"mat {info.mat}", str(info.held_on or ""), division]
        return " · ".join(word for word in words if word)


def call_of(
    library: Library,
    match_id: int,
    line: str = "",
    opinions: tuple[str, str] = ("", ""),
    showing: Showing = USUAL,
) -> CallSheet:
    """Gather the sheet of one line of the score log; with faces the names are hidden, too.

    Parameters
    ----------
    line
        Key of the line in any of the reviews; "" for the first of the log.
    opinions
        Two reviews to set side by side; the same twice stands for all there are.

    Raises
    ------
    NotFoundError
        When there is no such match, opinion or line.
    """
    match = library.match(match_id)
    for name in opinions:
        check_opinion(library, match_id, name)
    names_of_all = [SHARED, *library.opinions(match_id)]
    wanted = list(opinions) if opinions[0] != opinions[1] else names_of_all
    reviews = {name: library.review(match_id, name) for name in dict.fromkeys([SHARED, *wanted])}
    owner, key = _owner(reviews, line, match_id)
    review = reviews[owner]
    shown = next(each for each in lines_of(review, match) if each.item.key == key)
    keys = {name: _key_in(reviews[name], review, key) for name in reviews}
    shots, no_pictures = shots_or_why(library, match, review, showing)
    settled = [each for each in settlements(reviews[SHARED]) if each.what.line in keys.values()]
    match, hide = shown_match(match, showing)
    made = _sheet(match, review, shown, shots, no_pictures, _said(reviews, keys, match), settled)
    return replace(
        made,
        told=hide(made.told),
        said=[Said(*(hide(getattr(one, each.name)) for each in fields(one))) for one in made.said],
        settled=hide(made.settled),
        ending=[hide(line) for line in made.ending],
    )


def _owner(reviews: Mapping[str, Review], line: str, match_id: int) -> tuple[str, str]:
    """The review that has the line, the shared log first, and its key."""
    for name, review in reviews.items():
        if not line and review.items:
            return name, review.items[0].key
        if line and review.item(line) is not None:
            return name, line
    raise NotFoundError(f"match {match_id} has no line {line!r}: look at the match again.")


def _key_in(review: Review, owner: Review, key: str) -> str:
    """The same line in another review: by its key; an added award by what it is."""
    if review.item(key) is not None or review is owner:
        return key
    for pair in agreement(owner, review).awards:
        if pair.one_key == key:
            return pair.other_key
    return ""


def _sheet(
    match: Match, review: Review, line: LogLine, shots: Shots | None, no_pictures: str,
    said: Sequence[Said], settled: Sequence[Settlement],
) -> CallSheet:  # fmt: skip
    names, item = match.info.names, line.item
    made = item.proposal or (item.decision.seen if item.decision else item.shown)
    who = names[item.shown.athlete] if item.shown.athlete else WORDS["stands"]["nobody"]
    clauses = [made.clause, *(each.clause for each in made.criteria)]
    return CallSheet(
        match=match,
        review=review,
        names=names,
        heading=f"{title_of(line)}: {who}, {clock_words(line.time_s)}",
        told=" ".join(two_sentences(line, names, review.rule_set)),
        why=why_of(line, names) if made is item.shown else with_names(made.why, names),
        sure="" if item.added else sure_of(made),
        asks=asks_of(kind_of(made), review.rule_set),
        sources=sources_of(clauses, review.rule_set),
        frames=_frames(item, review, shots),
        no_pictures=no_pictures,
        criteria=[_criterion(each, names) for each in made.criteria],
        said=said,
        settled=_settled(settled),
        ending=ending_lines(review, names),
    )


def _frames(item: ReviewItem, review: Review, shots: Shots | None) -> list[FrameShown]:
    return [
        FrameShown(
            still.label,
            clock_words(still.time_s),
            still.frame_index,
            b"" if shots is None else shots.close_up(still.frame_index, FRAME_WIDTH_PX),
        )
        for still in stills_of(item, review)
    ]


def _criterion(criterion: Criterion, names: Names) -> CriterionShown:
    state = {True: "met", False: "unmet", None: "unseen"}[criterion.met]
    word, seen = WORDS["call"][state], seen_words(criterion, names)
    return CriterionShown(criterion.name, state, word, seen, criterion.clause)


def _said(reviews: Mapping[str, Review], keys: Mapping[str, str], match: Match) -> list[Said]:
    words, said = WORDS["call"], []
    for name, review in reviews.items():
        who = name or words["shared"]
        item = review.item(keys[name]) if keys[name] else None
        decision = None if item is None else item.decision
        if item is None:
            said.append(Said(who, words["not_there"], "", ""))
        elif decision is None:
            said.append(Said(who, words["undecided"], "", ""))
        else:
            stands = line_words(decision.seen, decision.verdict, decision.award, "")
            by = words["by"].format(who=decision.author, when=f"{decision.made_at:%Y-%m-%d %H:%M}")
            told = with_names(stands, match.info.names)
            said.append(Said(who, told, by, decision.reason or words["no_reason"]))
    return said


def _settled(settled: Sequence[Settlement]) -> str:
    words = WORDS["call"]
    if not settled:
        return str(words["not_settled"])
    newest = settled[-1]
    taken = newest.taken_from
    as_whose = words["as_log"]
    if taken is not None:
        as_whose = words["as_whose"].format(who=taken or words["shared"])
    return str(words["settled"].format(
        who=newest.by, when=f"{newest.made_at:%Y-%m-%d %H:%M}", how=as_whose
    ))  # fmt: skip


def call_html(sheet: CallSheet, links: Sequence[Link] = ()) -> str:
    """The sheet as one HTML file that needs nothing else; without links it is to keep."""
    return page(
        "call.html",
        heading=WORDS["call"]["heading"],
        info=sheet.match.info,
        names=sheet.names,
        sheet=sheet,
        links=links,
    )
