"""What the published rules ask for each award, in a sentence for someone who never trained.

Source: the international federation's rule book, version 6.1 (2024), articles 3 to 6; the clause
of each line stands beside the line itself.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Final

from posescore.scoring.proposal import ProposalKind

PUBLISHED: Final = ("sport-jiu-jitsu", "sport-jiu-jitsu-strict-mount")
"""Rule sets that these sentences hold for; a person's own rule set may ask for something else."""

ASKS: Final[Mapping[ProposalKind, str]] = {
    ProposalKind.TAKEDOWN: (
        "From their feet, the one who brings the other down on back, side or seat keeps the top "
        "for three seconds. Whoever is pulled on top has not brought anybody down."
    ),
    ProposalKind.SWEEP: (
        "From underneath, with the legs keeping the other off (guard or half-guard), the lower one "
        "comes out on top and stays there for three seconds."
    ),
    ProposalKind.GUARD_PASS: (
        "The upper one gets past the legs of the other and holds from the side or from the head "
        "for three seconds. Where no legs were in the way there is nothing to pass."
    ),
    ProposalKind.KNEE_ON_BELLY: (
        "The knee nearer to the other's hip rests on the torso while the other knee is off the "
        "mat, for three seconds. With that knee down it is an advantage."
    ),
    ProposalKind.MOUNT: (
        "Sitting on the torso, facing the head, no leg caught and at most one arm under the legs, "
        "for three seconds."
    ),
    ProposalKind.BACK_MOUNT: (
        "Sitting on the back of the other, who faces the mat, no leg caught, for three seconds."
    ),
    ProposalKind.BACK_CONTROL: (
        "From behind, both heels inside the other's thighs, feet not crossed and at most one arm "
        "caught, for three seconds."
    ),
    ProposalKind.PENALTY: (
        "The first penalty is a mark, the second gives the other an advantage, the third two "
        "points, the fourth ends the match."
    ),
    ProposalKind.OUT_OF_AREA: (
        "A correct defence of a submission that takes the pair out of the area gives two points to "
        "the one who attacked."
    ),
    ProposalKind.FLED: (
        "Leaving the area to avoid a score is a penalty, and gives the other two points."
    ),
}


_SOURCE: Final = "Rule numbers: the international federation's rule book, version 6.1 (2024)."
_MARKS: Final[Mapping[str, str]] = {
    "[AJP]": "read in another organisation's rule book of 2024, which runs nearly parallel.",
    "[mem]": "from memory, not checked in print.",
    "[practice]": "common practice, printed nowhere.",
}
"""What the marks behind a clause mean."""


def sources_of(clauses: Iterable[str], rules: str) -> str:
    """Where these clauses can be read; "" for a rule set of a person's own."""
    if rules not in PUBLISHED:
        return ""
    said = " ".join(clauses)
    marks = [f"{mark} {means}" for mark, means in _MARKS.items() if mark in said]
    return " ".join((_SOURCE, *marks))


def asks_of(kind: ProposalKind, rules: str) -> str:
    """What the rules ask, or "" where no sentence of ours fits the rule set."""
    return ASKS.get(kind, "") if rules in PUBLISHED else ""
