"""Score logs: what a person or the pipeline wrote down of a match, and what is proposed for it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from itertools import pairwise
from pathlib import Path
from typing import Final, NoReturn

from posescore.errors import InputError, LogError
from posescore.holds.event import EventName, MatchEvent
from posescore.holds.hold import Check, CheckName, Hold
from posescore.reading import Reader, read_json
from posescore.scoring.engine import propose
from posescore.scoring.match_time import Division
from posescore.scoring.proposal import Criterion, Proposal, Ruling
from posescore.scoring.rules import DEFAULT, RuleSet, check_value
from posescore.terms import Athlete, Position
from posescore.words import LETTERS, state_words, with_names

OVERLAP_S: Final = 1e-3
"""Holds may overlap by this much: times of a log are rounded to milliseconds."""

NEEDS_ATHLETE: Final = frozenset(EventName) - {
    EventName.START, EventName.STOP, EventName.END, EventName.SUBMISSION_RELEASED,
    EventName.OUT_OF_AREA,
}  # fmt: skip
"""Events that mean nothing without the one who did it."""

_HOLD_KEYS: Final = ("start_s", "end_s", "position", "upper", "confidence", "checks", "note")
_CHECK_KEYS: Final = ("value", "probability", "seen", "fraction", "visible")
_EVENT_KEYS: Final = ("time_s", "event", "athlete", "confidence", "note")


@dataclass(frozen=True, slots=True)
class MatchLog:
    """What the engine is given: rules, division, holds and events in time order."""

    rules: RuleSet
    division: Division | None
    holds: tuple[Hold, ...]
    events: tuple[MatchEvent, ...]

    def ruling(self) -> Ruling:
        """What the engine proposes for this log."""
        return propose(self.holds, self.events, self.rules)


def read_log(path: str | Path) -> MatchLog:
    """Read a score log from a JSON file.

    Raises
    ------
    LogError
        One sentence that names the file and the field, and says what to do.
    """
    path = Path(path)
    return log_from_json(read_json(path, LogError), path.name, path.parent)


def log_from_json(data: object, name: str = "score log", folder: Path | None = None) -> MatchLog:
    """A score log out of parsed JSON; ``name`` is what errors call it.

    ``folder`` is where a rule set given as a relative TOML path lies. Fields of the log itself
    that are not known are left alone; those of holds, checks and events are refused, since a
    misspelt criterion would be lost silently.

    Raises
    ------
    LogError
        One sentence that names the field, and says what to do.
    """
    top = Reader(name, data, error=LogError)
    if not isinstance(data, dict):
        top.fail("is not a score log: it must be an object with 'holds' and 'events'.")
    if "holds" not in data and "events" not in data:
        top.fail("is not a score log: it has neither 'holds' nor 'events'.")
    rules = _rules(top, folder)
    holds = [_hold(entry) for entry in top.at("holds").items()] if top.has("holds") else []
    events = [_event(entry) for entry in top.at("events").items()] if top.has("events") else []
    _refuse_overlaps(top, holds)
    return MatchLog(
        rules=rules,
        division=_division(top, rules),
        holds=tuple(sorted(holds, key=lambda hold: (hold.start_s, hold.end_s))),
        events=tuple(sorted(events, key=lambda event: event.time_s)),
    )


def _rules(top: Reader, folder: Path | None) -> RuleSet:
    if not top.has("rules"):
        return RuleSet.load(DEFAULT)
    field = top.at("rules")
    name = field.text()
    path = (folder or Path()) / name if name.endswith(".toml") else name
    try:
        return RuleSet.load(path)
    except InputError as problem:
        field.fail(f"cannot be used: {problem}")


def _division(top: Reader, rules: RuleSet) -> Division | None:
    if not top.has("division"):
        return None
    field = top.at("division")
    age = field.at("age").text()
    belt = field.at("belt").text() if field.has("belt") else None
    try:
        return rules.match_times.division(age, belt)
    except InputError as problem:
        field.fail(f"cannot be used: {problem}")


def _hold(entry: Reader) -> Hold:
    entry.only(_HOLD_KEYS, "a field of a hold")
    position = Position(entry.at("position").one_of(Position, "a position"))
    start_s, end_s = entry.at("start_s").number(), entry.at("end_s").number()
    if end_s <= start_s:
        entry.at("end_s").fail(f"must be after start_s ({start_s:g}), not {end_s:g}.")
    checks = _checks(entry.at("checks")) if entry.has("checks") else ()
    return Hold(start_s, end_s, position, _upper(entry, position), _confidence(entry), checks)


def _upper(entry: Reader, position: Position) -> Athlete | None:
    if position.has_upper:
        if not entry.has("upper"):
            entry.child("upper", None).fail(f'is missing: {position} needs "A" or "B".')
        return Athlete(entry.at("upper").one_of(Athlete, "an athlete"))
    if entry.has("upper"):
        entry.at("upper").fail(f"must not be given: nobody is on top in {position}.")
    return None


def _confidence(entry: Reader) -> float:
    return entry.at("confidence").number(0.0, 1.0) if entry.has("confidence") else 1.0


def _checks(entry: Reader) -> tuple[Check, ...]:
    entry.only(CheckName, "a check")
    return tuple(_check(CheckName(key), value) for key, value in entry.children().items())


def _check(name: CheckName, entry: Reader) -> Check:
    """A bare value, or a table of value, probability and how it was seen."""
    if not isinstance(entry.value, dict):
        return Check(name, check_value(name, entry))
    entry.only(_CHECK_KEYS, "a field of a check")
    value = check_value(name, entry.at("value"))
    probability, fraction, visible = (
        entry.at(key).number(0.0, 1.0) if entry.has(key) else None
        for key in ("probability", "fraction", "visible")
    )
    seen = entry.at("seen").text() if entry.has("seen") else ""
    return Check(name, value, 1.0 if probability is None else probability, seen, fraction, visible)


def _event(entry: Reader) -> MatchEvent:
    entry.only(_EVENT_KEYS, "a field of an event")
    event = EventName(entry.at("event").one_of(EventName, "an event"))
    time_s = entry.at("time_s").number()
    athlete = None
    if entry.has("athlete"):
        athlete = Athlete(entry.at("athlete").one_of(Athlete, "an athlete"))
    elif event in NEEDS_ATHLETE:
        entry.child("athlete", None).fail(f'is missing: {event} needs "A" or "B".')
    return MatchEvent(time_s, event, athlete, _confidence(entry))


def _refuse_overlaps(top: Reader, holds: Sequence[Hold]) -> None:
    order = sorted(range(len(holds)), key=lambda i: (holds[i].start_s, holds[i].end_s))
    for before, after in pairwise(order):
        if holds[before].end_s - holds[after].start_s > OVERLAP_S:
            _overlap(top, holds, before, after)


def _overlap(top: Reader, holds: Sequence[Hold], before: int, after: int) -> NoReturn:
    top.fail(
        f"holds[{after}] starts at {holds[after].start_s:g} s, before holds[{before}] ends at "
        f"{holds[before].end_s:g} s: holds must not overlap."
    )


def log_to_json(log: MatchLog) -> dict[str, object]:
    """Inverse of :func:`log_from_json`, with confidences and the probabilities of checks."""
    data: dict[str, object] = {"rules": log.rules.name}
    if log.division is not None:
        data["division"] = log.division.to_json()
    data["holds"] = [_hold_to_json(hold) for hold in log.holds]
    data["events"] = [_event_to_json(event) for event in log.events]
    return data


def _hold_to_json(hold: Hold) -> dict[str, object]:
    data: dict[str, object] = {
        "start_s": hold.start_s,
        "end_s": hold.end_s,
        "position": str(hold.position),
    }
    if hold.upper is not None:
        data["upper"] = str(hold.upper)
    if hold.confidence != 1.0:
        data["confidence"] = hold.confidence
    if hold.checks:
        data["checks"] = {str(check.name): _check_to_json(check) for check in hold.checks}
    return data


def _check_to_json(check: Check) -> object:
    how = {"seen": check.seen or None, "fraction": check.fraction, "visible": check.visible}
    said = {key: value for key, value in how.items() if value is not None}
    if check.probability == 1.0 and not said:
        return check.value
    return {"value": check.value, "probability": check.probability, **said}


def _event_to_json(event: MatchEvent) -> dict[str, object]:
    data: dict[str, object] = {"time_s": event.time_s, "event": str(event.event)}
    if event.athlete is not None:
        data["athlete"] = str(event.athlete)
    if event.confidence != 1.0:
        data["confidence"] = event.confidence
    return data


def ruling_to_json(ruling: Ruling) -> dict[str, object]:
    """A ruling as ``posescore score --json`` prints it."""
    result = ruling.result
    return {
        "proposals": [proposal_to_json(proposal) for proposal in ruling.proposals],
        "score": {str(athlete): asdict(ruling.score[athlete]) for athlete in Athlete},
        "result": result and asdict(result) | {"why": with_names(result.why, LETTERS)},
    }


def proposal_to_json(proposal: Proposal) -> dict[str, object]:
    """One proposal as plain data."""
    return {
        "time_s": round(proposal.time_s, 6),
        "athlete": None if proposal.athlete is None else str(proposal.athlete),
        "kind": str(proposal.kind),
        "points": proposal.points,
        "advantage": proposal.advantage,
        "clause": proposal.clause,
        "why": with_names(proposal.why, LETTERS),
        "confidence": round(proposal.confidence, 6),
        "would_be": None if proposal.would_be is None else str(proposal.would_be),
        "path": [with_names(state_words(state), LETTERS) for state in proposal.path],
        "criteria": [_criterion_to_json(criterion) for criterion in proposal.criteria],
        "evidence": {
            "start_s": round(proposal.evidence.start_s, 6),
            "end_s": round(proposal.evidence.end_s, 6),
        },
    }


def _criterion_to_json(criterion: Criterion) -> dict[str, object]:
    seen = with_names(criterion.seen, LETTERS)
    return asdict(criterion) | {"seen": seen, "probability": round(criterion.probability, 6)}
