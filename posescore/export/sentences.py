"""Lines of a score log and the standing of a match in sentences, the trade's term beside them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Final

from posescore.export.evidence import not_looked_at
from posescore.export.rows import LogLine
from posescore.library.review.review import Review, Verdict
from posescore.scoring.awarding import HELD, own_advantage
from posescore.scoring.match_clock import EndedBy
from posescore.scoring.proposal import Criterion, Proposal, ProposalKind, Result, Tally
from posescore.scoring.rules import RuleSet
from posescore.terms import Athlete
from posescore.words import (
    WORDS,
    capital,
    confidence_words,
    counted,
    held_words,
    how_seen,
    phrase,
    seconds_words,
    trade,
    with_names,
)

Names = Mapping[Athlete, str]


def kind_of(proposal: Proposal) -> ProposalKind:
    """What it is, or would have been."""
    return proposal.would_be or proposal.kind


def worth(proposal: Proposal) -> str:
    """What an award is worth, in words."""
    if proposal.points:
        return counted(proposal.points, "point")
    if proposal.advantage:
        return phrase("an advantage")
    return phrase("a mark" if proposal.kind is ProposalKind.PENALTY else "no points")


def award_words(proposal: Proposal) -> str:
    """Say "guard pass, 3 points"."""
    kind = kind_of(proposal)
    return worth(proposal) if kind is ProposalKind.NEAR else f"{trade(kind)}, {worth(proposal)}"


def title_of(line: LogLine) -> str:
    """Say "Guard pass, 3 points"."""
    return capital(award_words(line.item.shown))


def word_of(line: LogLine) -> str:
    """Who said so; what nobody confirmed says that instead, and how sure the program is."""
    decision = line.item.decision
    if decision is None:
        return f"{phrase('Proposed, not confirmed')}: {sure_of(line.item.shown)}"
    said = phrase(f"{capital(decision.verdict)} by {{author}}", author=decision.author)
    return f"{said}; {WORDS['ended']['behind'].lower()}" if line.item.behind_end else said


def sure_of(proposal: Proposal) -> str:
    """How sure the program is, and how much of it nobody looked at."""
    said, unseen = confidence_words(proposal.confidence), not_looked_at(proposal)
    if not unseen:
        return said
    taken = WORDS["sure"]["not_looked_at"].format(count=unseen, all=len(proposal.criteria))
    return f"{said}; {taken}"


def headline(line: LogLine) -> str:
    """The line in words. What nobody confirmed says so first."""
    what = award_words(line.item.shown) + (line.athlete_name and f", {line.athlete_name}")
    said = phrase("Proposed, not confirmed") if line.item.decision is None else word_of(line)
    return f"{said}: {what}"


def why_of(line: LogLine, names: Names) -> str:
    """The reason in the line: with names where the engine wrote it, else as the person did."""
    item, why = line.item, line.item.shown.why
    written = [item.proposal] if item.proposal is not None else []
    if item.decision is not None and not item.added:
        written.append(item.decision.seen)
    return with_names(why, names) if why in [each.why for each in written] else why


def seen_words(criterion: Criterion, names: Names) -> str:
    """What was seen of a criterion, and how well."""
    seen, how = with_names(criterion.seen, names), how_seen_of(criterion)
    return f"{seen} ({how})" if how else seen


def how_seen_of(criterion: Criterion) -> str:
    """How well the check of a criterion was seen; "" where nobody measured that."""
    return how_seen(criterion.fraction, criterion.visible, criterion.probability)


def missing_criteria(proposal: Proposal) -> list[Criterion]:
    """The published criteria that were not met."""
    return [criterion for criterion in proposal.criteria if criterion.met is False]


def two_sentences(line: LogLine, names: Names, rules: RuleSet) -> tuple[str, str]:
    """What happened, and what it is worth and why, for someone who has never trained."""
    shown = line.item.shown
    kind = kind_of(shown)
    who = names[shown.athlete] if shown.athlete else phrase("Somebody")
    nearly = phrase("nearly") + " " if shown.kind is ProposalKind.NEAR else ""
    if shown.kind is ProposalKind.NONE:
        what = phrase("What {who} did looks like a {kind}.", who=who, kind=trade(kind))
    else:
        words = WORDS["kinds"][kind]
        what = phrase(
            "{who} {did}; on the mat this is called {kind}.",
            who=who, did=nearly + words["sentence"], kind=words["trade"],
        )  # fmt: skip
    return what, _worth(line, shown, names, rules)


def _worth(line: LogLine, shown: Proposal, names: Names, rules: RuleSet) -> str:
    decision = line.item.decision
    if decision is not None and decision.verdict is Verdict.DISMISSED:
        return phrase(
            "It does not stand: {author} dismissed it{reason}.",
            author=decision.author,
            reason=_as_a_part(decision.reason),
        )
    if shown.points:
        was_held = any(each.met and each.check == HELD for each in shown.criteria)
        sentence = "Held for {held}, it is worth {worth}" if was_held else "It is worth {worth}"
        text = phrase(sentence, held=held_words(rules.seconds.hold), worth=worth(shown))
    elif shown.kind is ProposalKind.PENALTY:
        text = phrase("It counts as a penalty")
    else:
        text = phrase(
            "It is worth an advantage, no points" if shown.advantage else "It is worth nothing"
        )
        missing = missing_criteria(shown)
        if missing:
            text += phrase(", because {reason}", reason=_because(missing[0], names, rules))
            if missing[-1].name == own_advantage():
                no_advantage = ", and no advantage either: {reason}"
                text += phrase(no_advantage, reason=missing[-1].seen)
        elif shown.why:
            text += f": {why_of(line, names).rstrip('.')}"
    said = phrase("nobody has confirmed it")
    if decision is not None:
        said = phrase("{author} decided so", author=decision.author)
    return f"{text}; {said}."


def _because(missing: Criterion, names: Names, rules: RuleSet) -> str:
    """What kept it from being points: too short, a criterion not met, or the way there."""
    seen = with_names(missing.seen, names)
    if missing.check == HELD:
        return phrase(
            "it was {seen}, not for {seconds}", seen=seen, seconds=seconds_words(rules.seconds.hold)
        )
    asked = "one thing is missing: {name} (seen instead: {seen})"
    return phrase(asked, name=phrase(missing.name), seen=seen) if missing.check else seen


def _as_a_part(reason: str) -> str:
    """A person's own words inside a sentence of ours."""
    said = reason.strip().rstrip(".")
    return f" (\u201c{said}\u201d)" if said else ""


PUBLISHED: Final = ("sport-jiu-jitsu", "sport-jiu-jitsu-strict-mount")
"""Rule sets that these sentences hold for; a person's own rule set may ask for something else."""


def asks_of(kind: ProposalKind, rules: RuleSet) -> str:
    """What the rules ask, or "" where no sentence of ours fits the rule set."""
    asks = str(WORDS["kinds"][kind].get("asks", "")) if rules.name in PUBLISHED else ""
    return asks.format(held=held_words(rules.seconds.hold))


def sources_of(clauses: Iterable[str], rules: RuleSet) -> str:
    """Where these clauses can be read; "" where the rule set is a person's own or does not say."""
    if rules.name not in PUBLISHED or not rules.book:
        return ""
    numbers = dict.fromkeys(number for clause in clauses for number in clause.split(", "))
    read: dict[str, list[str]] = {}
    for number in numbers:
        if number in rules.elsewhere:
            read.setdefault(rules.elsewhere[number], []).append(number)
    others = [
        phrase(" From {place}: {found}.", place=phrase(place), found=", ".join(found))
        for place, found in read.items()
    ]
    return f"{phrase('Rule numbers:')} {phrase(rules.book)}.{''.join(others)}"


def result_words(result: Result | None, names: Names) -> str:
    """The result in one sentence."""
    return phrase("Still open.") if result is None else with_names(result.why, names)


def standing_words(review: Review, names: Names) -> str:
    """How it stands by people's decisions; an end only once every line is decided."""
    ended = review.end is not None and review.end.by in (EndedBy.TAP, EndedBy.DISQUALIFICATION)
    if ended or not review.undecided:
        return result_words(review.confirmed_result, names)
    if len(review.undecided) == len(review.items):
        return phrase("Nothing is confirmed yet.")
    return f"{phrase('If it ended so:')} {result_words(review.confirmed_result, names)}"


def waiting_words(review: Review) -> str:
    """How many lines nobody decided."""
    return f"{counted(len(review.undecided), 'line waits', 'lines wait')} {phrase('for a person.')}"


def tally_words(tally: Tally) -> str:
    """Advantages and penalties in words."""
    advantages = counted(tally.advantages, "advantage")
    return f"{advantages}, {counted(tally.penalties, 'penalty', 'penalties')}"
