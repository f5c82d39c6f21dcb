"""What the program made of a match in one pass, before anybody touched it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Final

from posescore.footage.clock import FrameClock
from posescore.holds.event import MatchEvent
from posescore.holds.hold import Hold
from posescore.library.match import DEFAULT_RULES
from posescore.pose.track import Finding, FindingKind
from posescore.terms import Athlete, Provenance, Step


@dataclass(frozen=True, slots=True, eq=False)
class Analysis:
    """One pass over the footage. A later pass adds another; none replaces what a person said.

    Parameters
    ----------
    clock
        Presentation times of the footage's frames.
    holds
        In time order, never overlapping.
    events
        Inferred events, in time order.
    findings
        What may be wrong with the track.
    provenance
        How all of it was made.
    rules
        Name of the rule set it was made under.
    track_path
        The keypoints (Parquet); None where the match came without a track.
    version, track_sha256, made_at
        Filled in by the library.
    """

    clock: FrameClock
    holds: tuple[Hold, ...]
    events: tuple[MatchEvent, ...]
    findings: tuple[Finding, ...]
    provenance: Provenance
    rules: str = DEFAULT_RULES
    track_path: Path | None = None
    version: int = 0
    track_sha256: str = ""
    made_at: datetime | None = None

    @property
    def doubt(self) -> str:
        """Why the footage should be read again, in a sentence; "" where nothing speaks for it.

        Programs up to following version :data:`_TRUSTED_FROM` took a read that failed for the end
        of the footage: neither athlete is found from there on.
        """
        if not any(_is_older(step) for step in self.provenance.steps):
            return ""
        missing = [f.interval for f in self.findings if f.kind is FindingKind.ATHLETE_MISSING]
        behind = [i for i in missing if i.end_s >= self.clock.end_s - _SLACK_S]
        if len(behind) < len(Athlete) or not missing:
            return ""
        from_s = max(interval.start_s for interval in behind)
        if self.clock.end_s - from_s < _LONG_S:
            return ""
        return (
            f"Nobody was found from {from_s:.1f} s to the end, and an earlier version made this "
            "analysis, which could break off without a word: analyse the match again."
        )


_TRUSTED_FROM: Final = 9
_SLACK_S: Final = 0.5
_LONG_S: Final = 3.0
"""Shorter is what athletes take to leave the mat."""


def _is_older(step: Step) -> bool:
    version = step.settings.get("version")
    return step.name == "follow" and isinstance(version, int) and version < _TRUSTED_FROM
