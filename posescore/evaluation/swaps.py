"""Where A and B change places in a followed video, counted against labelled frames."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from posescore.pose.track import Finding, FindingKind

CLEAR_OKS: Final = 0.3
"""By how much the sum of both athletes' OKS must differ between the two ways round to tell."""
LASTS_S: Final = 0.3
"""A change that is undone sooner is a slip of single frames; ``right slot`` counts those."""
REPORT_S: Final = 1.0
"""A finding tells of a change if it lies no further off."""
_TELLING: Final = frozenset({FindingKind.POSSIBLE_SWAP, FindingKind.MERGED})


@dataclass(frozen=True, slots=True)
class Swaps:
    """Changes of identity.

    Parameters
    ----------
    at_s
        Seconds at which the slots changed, in order.
    reported
        For each change, whether a finding of a possible swap or a merge lies near it; None where
        findings are not at hand.
    minutes
        Length of the labelled stretch.
    """

    at_s: tuple[float, ...]
    reported: tuple[bool, ...] | None
    minutes: float

    @property
    def per_minute(self) -> float:
        """Changes for each minute of footage."""
        return len(self.at_s) / self.minutes if self.minutes > 0 else 0.0

    @property
    def unreported(self) -> int | None:
        """Changes of which no finding tells; None where findings are not at hand."""
        return None if self.reported is None else self.reported.count(False)

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "swaps": len(self.at_s),
            "unreported": self.unreported,
            "per_minute": round(self.per_minute, 3),
            "at_s": [round(at_s, 2) for at_s in self.at_s],
        }

    def __str__(self) -> str:
        told = self.reported or (True,) * len(self.at_s)
        where = ", ".join(
            f"{at_s:.1f} s{'' if known else ' (not reported)'}"
            for at_s, known in zip(self.at_s, told, strict=True)
        )
        line = f"A and B changed places {len(self.at_s)} times in {60 * self.minutes:.0f} s"
        line += f" ({self.per_minute:.2f} a minute)"
        if self.reported is not None:
            line += f", {self.unreported} not reported"
        return f"{line}: {where}" if where else line


def count_swaps(
    time_s: NDArray[np.float64],
    lead: NDArray[np.float64],
    findings: Sequence[Finding] | None = None,
) -> Swaps:
    """Count changes of identity.

    Parameters
    ----------
    time_s
        ``(n,)`` of the labelled frames, rising.
    lead
        ``(n,)``: sum of both athletes' OKS with the slots as they are, less that with the slots
        exchanged; near 0 where the frame cannot tell.
    findings
        What following reported, where it is known.
    """
    clear = np.flatnonzero(np.abs(lead) >= CLEAR_OKS)
    if not len(clear):
        return Swaps((), None if findings is None else (), _minutes(time_s))
    runs: list[tuple[bool, float, float]] = []
    for row in clear:
        side, at_s = bool(lead[row] > 0), float(time_s[row])
        if runs and runs[-1][0] == side:
            runs[-1] = (side, runs[-1][1], at_s)
        else:
            runs.append((side, at_s, at_s))
    lasting = [run for run in runs if run[2] - run[1] >= LASTS_S - 1e-6]
    at_s_of = [after[1] for before, after in pairwise(lasting) if before[0] != after[0]]
    if findings is None:
        return Swaps(tuple(at_s_of), None, _minutes(time_s))
    reported = tuple(any(_tells(finding, at_s) for finding in findings) for at_s in at_s_of)
    return Swaps(tuple(at_s_of), reported, _minutes(time_s))


def _tells(finding: Finding, at_s: float) -> bool:
    near = finding.interval.start_s - REPORT_S <= at_s <= finding.interval.end_s + REPORT_S
    return near and finding.kind in _TELLING


def _minutes(time_s: NDArray[np.float64]) -> float:
    return float(time_s[-1] - time_s[0]) / 60 if len(time_s) > 1 else 0.0
