"""Fit how often proposals are right to filmed matches, and say how well that holds.

``python -m posescore.lab.train.criteria.proposal_fit FOLDER...``: each folder holds ``truth.json``
and ``pass.json``, as :mod:`posescore.lab.train.criteria.filmed_matches` says. Every match is read
once as it is and :data:`REREADS` times with a little noise on top, and counts once in all. Printed
is the mean squared distance from what came true (Brier), each match left out in turn, before and
after. The line is kept only where it is better on matches left out. With ``--check FOLDER...`` the
line that ships is measured on other matches and nothing is written.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any, Final

import numpy as np

from posescore.analysis.pipeline import read_positions
from posescore.evaluation.match import degraded, read_truth
from posescore.holds.criteria.judge import FILE
from posescore.lab.train.criteria.refit import PROPOSALS, with_hash
from posescore.pose.coco import track_from_coco
from posescore.pose.track import PairTrack
from posescore.scoring.engine import propose
from posescore.scoring.observed import Observed, shipped_observed
from posescore.scoring.proposal import Proposal
from posescore.scoring.rules import RuleSet

REREADS: Final = 4
NOISE: Final = 0.015
MISSING: Final = 0.1
WITHIN_S: Final = 2.0
_EDGES: Final = (0.0, 0.5, 0.7, 0.85, 1.0)


@dataclass(frozen=True, slots=True)
class Case:
    """One proposal of one read of a match: what the engine said, and whether it was right."""

    match: str
    confidence: float
    right: bool
    weight: float


def cases_of(folder: Path) -> list[Case]:
    """The proposals of every read of one filmed match."""
    truth = read_truth(folder / "truth.json")
    track = track_from_coco(folder / "pass.json")
    reads = [track, *(degraded(track, NOISE, MISSING, seed) for seed in range(REREADS))]
    return [
        Case(folder.name, proposal.confidence, is_right(proposal, truth), 1.0 / len(reads))
        for read in reads
        for proposal in _proposals(read)
    ]


def _proposals(track: PairTrack) -> list[Proposal]:
    reading = read_positions(track)
    ruling = propose(reading.holds, reading.events, RuleSet.load(), end_s=track.end_s)
    return [p for p in ruling.proposals if p.points or p.would_be]


def is_right(proposal: Proposal, truth: Mapping[str, Any]) -> bool:
    """Whether the rules gave these points then; or, where none were proposed, gave none.

    Points must be those of the same athlete and kind within :data:`WITHIN_S`; "no points" is right
    when the athlete got none of that kind while, or shortly before or after, it was looked at.
    """
    if proposal.points:
        told = (proposal.athlete, proposal.kind, proposal.points)
        return any(
            (award["athlete"], award["kind"], award["points"]) == told
            and abs(proposal.time_s - award["time_s"]) <= WITHIN_S
            for award in truth["awards"]
        )
    from_s, to_s = proposal.evidence.start_s - WITHIN_S, proposal.evidence.end_s + WITHIN_S
    return not any(
        (award["athlete"], award["kind"]) == (proposal.athlete, proposal.would_be)
        and from_s <= award["time_s"] <= to_s
        for award in truth["awards"]
    )


def fitted(cases: Sequence[Case]) -> Observed:
    """The line for these cases."""
    return Observed.fitted(
        [case.confidence for case in cases],
        [case.right for case in cases],
        [case.weight for case in cases],
    )


def left_out(cases: Sequence[Case]) -> list[float]:
    """What each case is called by the line fitted without its match."""
    lines = {
        match: fitted([case for case in cases if case.match != match])
        for match in {case.match for case in cases}
    }
    return [lines[case.match].of(case.confidence) for case in cases]


def table(cases: Sequence[Case], after: Sequence[float]) -> str:
    """Brier score and, by how sure, how often right; before and after."""
    lines = []
    right = np.array([case.right for case in cases], np.float64)
    weight = np.array([case.weight for case in cases])
    for name, said in (("as the engine says", [case.confidence for case in cases]),
                       ("as observed", after)):  # fmt: skip
        sure = np.array(said)
        lines.append(
            f"{name}: Brier {brier(cases, said):.3f}, "
            f"mean {np.average(sure, weights=weight):.2f} sure, "
            f"{np.average(right, weights=weight):.2f} right, {weight.sum():.1f} proposals"
        )
        for low, high in pairwise(_EDGES):
            rows = (sure >= low) & ((sure < high) | (high == 1.0))
            if rows.any():
                lines.append(
                    f"  {low:.2f} to {high:.2f}: {np.average(sure[rows], weights=weight[rows]):.2f}"
                    f" sure, {np.average(right[rows], weights=weight[rows]):.2f} right,"
                    f" {weight[rows].sum():.1f} proposals"
                )
    return "\n".join(lines)


def write(line: Observed, told: str, folder: Path) -> None:
    """Put the line into ``criteria.json`` and what was measured into its card."""
    path, card = folder / FILE, folder / FILE.replace(".json", ".md")
    data = json.loads(path.read_text("utf-8"))
    data["proposals"] = [float(f"{line.constant:.4g}"), float(f"{line.share:.4g}")]
    text = json.dumps(data) + "\n"
    path.write_text(text, "utf-8")
    before = card.read_text("utf-8").partition(PROPOSALS)[0].rstrip()
    body = with_hash(before, hashlib.sha256(text.encode()).hexdigest())
    card.write_text(f"{body}\n\n{PROPOSALS}, {told}", "utf-8")


def worth_having(cases: Sequence[Case]) -> Observed:
    """The fitted line if it is better on matches it was not fitted on; else the plain one."""
    plain = brier(cases, [case.confidence for case in cases])
    return fitted(cases) if brier(cases, left_out(cases)) < plain else Observed(0.0, 1.0)


def brier(cases: Sequence[Case], said: Sequence[float]) -> float:
    """Mean squared distance of what was said from what came true, weighed."""
    right = np.array([case.right for case in cases], np.float64)
    weight = np.array([case.weight for case in cases])
    return float(np.average((np.array(said) - right) ** 2, weights=weight))


def told_of(cases: Sequence[Case]) -> str:
    """The card's words on a fit, each match left out in turn."""
    names = ", ".join(f"*{name}*" for name in dict.fromkeys(case.match for case in cases))
    line, ships = fitted(cases), worth_having(cases)
    end = (
        "It ships." if ships == line else "That is no better, so the engine's word ships as it is."
    )
    return f"""given how sure the engine is, measured by
`python -m posescore.lab.train.criteria.proposal_fit FOLDER...` on the filmed training matches
{names},
as the shipped pass reads them, each read {REREADS} times more with noise on top. *As observed* is
by log odds {line.constant:.2f} + {line.share:.2f} times the engine's
(`posescore/scoring/observed.py`), fitted without the match that is judged. {end}

```
{table(cases, left_out(cases))}
```

Few proposals of few matches, all by one author and renderer, and the judges were fitted on them.
"""


def main() -> None:
    """Fit and write, or check."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("match", type=Path, nargs="+")
    parser.add_argument("--check", action="store_true")
    parser.add_argument("--out", type=Path, default=Path("models"))
    arguments = parser.parse_args()
    cases = [case for folder in arguments.match for case in cases_of(folder)]
    if arguments.check:
        shipped = shipped_observed()
        sys.stdout.write(table(cases, [shipped.of(case.confidence) for case in cases]) + "\n")
    else:
        told = told_of(cases)
        write(worth_having(cases), told, arguments.out)
        sys.stdout.write(told)


if __name__ == "__main__":
    main()
