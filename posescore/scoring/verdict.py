"""Whether a position fulfils what the rules ask of it, as far as it was seen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from posescore.holds.hold import Check, Hold
from posescore.scoring.proposal import Criterion
from posescore.scoring.rules import AskedOf, RuleSet
from posescore.words import sentence

_DOUBTFUL: Final = 0.2
"""A part less sure by more than this than another is left to that one. Judgement."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """What became of a position's criteria.

    ``failed`` is the criterion that failed, most surely first; ``near`` says whether failing it
    leaves an advantage. ``probability`` is that of this reading: all met, or that one failed.
    """

    criteria: tuple[Criterion, ...]
    failed: Criterion | None
    near: bool
    probability: float
    seen_any: bool

    @property
    def met(self) -> bool:
        """True when nothing asked for is missing."""
        return self.failed is None


def verdict_on(hold: Hold, rules: RuleSet) -> Verdict:
    """Hold one hold against the criteria of its position.

    The more likely reading of every check is taken. Met with probability p leaves p in the
    verdict's probability; a failure counts with 1 - p of the criterion that failed.
    """
    read = [_criterion(hold, asked) for asked in rules.criteria.get(hold.position, ())]
    criteria = tuple(criterion for criterion, _ in read)
    failures = [(criterion, near) for criterion, near in read if criterion.met is False]
    seen_any = any(criterion.met is not None for criterion in criteria)
    if not failures:
        probability = 1.0
        for criterion in criteria:
            probability *= criterion.probability if criterion.met else 1.0
        return Verdict(criteria, None, False, probability, seen_any)
    # What leaves nothing outweighs what leaves an advantage; then the surest failure.
    failed, near = min(failures, key=lambda failure: (failure[1], -failure[0].probability))
    return Verdict(criteria, failed, near, failed.probability, seen_any)


def _criterion(hold: Hold, asked: AskedOf) -> tuple[Criterion, bool]:
    """One criterion as seen, and whether failing it leaves an advantage."""
    check = hold.check(asked.check)
    name = str(asked.check)
    if check is None:
        return Criterion(
            asked.asks, None, sentence("not_looked_at"), asked.clause, check=name
        ), False
    fulfils = check.value in asked.met
    p_met = probability_met(asked, check)
    met = p_met >= 0.5
    # Where the less likely value is named, the others are: failing then counts as near if it can.
    near = bool(asked.near) if fulfils else check.value in asked.near
    seen = check.seen or asked.words(check.value)
    if met is not fulfils:
        seen = sentence("unsure_whether", seen=seen)
    p_read = max(p_met, 1.0 - p_met)
    how = (check.fraction, check.visible)
    return Criterion(asked.asks, met, seen, asked.clause, p_read, name, *how), near


def probability_met(asked: AskedOf, check: Check) -> float:
    """How likely a criterion is met.

    The check gives the probability of the value it names; what is left is shared evenly among
    the other values, of which some may fulfil the criterion too.
    """
    others = [v for v in (*asked.met, *asked.near, *asked.neither) if v != check.value]
    fraction = sum(v in asked.met for v in others) / len(others) if others else 0.0
    named = check.probability if check.value in asked.met else 0.0
    return named + (1.0 - check.probability) * fraction


def qualified(holds: Sequence[Hold], rules: RuleSet) -> list[Hold]:
    """The holds that fulfil every criterion of their position."""
    return [hold for hold in holds if verdict_on(hold, rules).met]


def clearest(holds: Sequence[Hold], rules: RuleSet) -> list[Hold]:
    """Of holds that fulfil the criteria, those in which that is seen best.

    Parts that are less sure by more than ``_DOUBTFUL`` than a part long enough for the count are
    left out: where the decisive keypoints came into view late, the count begins when they did.
    Everything is kept where nothing is surer, so a log without probabilities reads as it stands.
    """
    probability = {id(hold): verdict_on(hold, rules).probability for hold in holds}
    counted = [hold for hold in holds if hold.duration_s >= rules.seconds.hold]
    best = max((probability[id(hold)] for hold in counted), default=0.0)
    return [hold for hold in holds if probability[id(hold)] >= best - _DOUBTFUL]
