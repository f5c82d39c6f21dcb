"""What the program made of a match in one pass, before anybody touched it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from posescore.footage.clock import FrameClock
from posescore.holds.event import MatchEvent
from posescore.holds.hold import Hold
from posescore.library.match import DEFAULT_RULES
from posescore.pose.track import Finding
from posescore.terms import Provenance


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
