"""Jobs that run, wait or ended: kept in a table so that a restart can go on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Final

from posescore.errors import ConflictError


class JobState(StrEnum):
    """Where a job stands. The last three are final."""

    QUEUED = "queued"
    RUNNING = "running"
    DONE = "done"
    FAILED = "failed"
    CANCELLED = "cancelled"

    @property
    def is_final(self) -> bool:
        """True when nothing follows."""
        return self not in (JobState.QUEUED, JobState.RUNNING)


TELLING_PROGRESS: Final = 0.05
"""Nobody can say what is left before so much is done: opening models comes first. Judgement."""


@dataclass(frozen=True, slots=True)
class Job:
    """Something that is made of one match: an analysis, a report, a film.

    Parameters
    ----------
    progress
        0 to 1.
    stage
        What is being done, in words.
    message
        Why it failed; "" otherwise.
    settings
        What it was started with, so that it can be started again.
    started_at
        UTC, when it last began to run; None while it waits.
    """

    id: int
    match_id: int
    state: JobState
    progress: float
    stage: str
    message: str
    settings: Mapping[str, object]
    created_at: datetime
    started_at: datetime | None
    changed_at: datetime
    started_progress: float = 0.0

    def remaining_s(self, now: datetime) -> float | None:
        """Seconds left at the rate so far; None where that cannot be said yet."""
        if self.state is not JobState.RUNNING or self.started_at is None:
            return None
        made = self.progress - self.started_progress
        spent_s = (now - self.started_at).total_seconds()
        if made < TELLING_PROGRESS:
            return None
        return max(0.0, spent_s * (1.0 - self.progress) / made)


def in_analysis(match_id: int) -> ConflictError:
    """The refusal of what cannot be done while a match is analysed."""
    return ConflictError(
        f"match {match_id} is being analysed: wait for its end, or stop it on the list of matches."
    )
