"""The library: matches, what the program made of them, and what people said. Kept for good."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Literal

from posescore.library.analysis import Analysis
from posescore.library.edits import Edit
from posescore.library.entries import Entry
from posescore.library.jobs import Job, JobState
from posescore.library.match import Match, MatchInfo
from posescore.library.review import Review
from posescore.position.probabilities import PositionProbabilities

SortKey = Literal["added", "changed", "title", "held_on", "event"]


class Library:
    """All matches of one folder. Safe from several threads and from two processes.

    Parameters
    ----------
    folder
        Where it lies; None takes the environment's ``POSESCORE_LIBRARY``, else the user's data
        folder. It is made where it is missing.

    Raises
    ------
    StorageError
        When the folder cannot be used, or the library is broken or newer than this program.
    """

    folder: Path

    def __init__(self, folder: Path | None = None) -> None:
        raise NotImplementedError

    def close(self) -> None:
        """Let go of the database."""
        raise NotImplementedError

    # Matches
    def add_match(self, info: MatchInfo) -> Match:
        """Add a match and make its folder."""
        raise NotImplementedError

    def update_match(self, match_id: int, info: MatchInfo) -> Match:
        """Replace what people say of a match."""
        raise NotImplementedError

    def match(self, match_id: int) -> Match:
        """One match; NotFoundError where there is none."""
        raise NotImplementedError

    def find_match(self, text: str) -> Match:
        """The match of that number, or the one match whose title holds that text."""
        raise NotImplementedError

    def match_of_footage(self, sha256: str) -> Match | None:
        """The newest match of that footage, wherever the file lies now."""
        raise NotImplementedError

    def matches(
        self, search: str = "", sort: SortKey = "added", descending: bool = True
    ) -> list[Match]:
        """Matches whose title, event, mat, names, belts or colours hold every searched word."""
        raise NotImplementedError

    def delete_match(self, match_id: int) -> None:
        """Delete a match with everything made from it; the original footage stays."""
        raise NotImplementedError

    # Analyses
    def save_analysis(self, match_id: int, analysis: Analysis) -> Analysis:
        """Add a pass over the footage as the match's newest version."""
        raise NotImplementedError

    def analysis(self, match_id: int, version: int | None = None) -> Analysis:
        """One analysis, by default the newest; NotFoundError where there is none."""
        raise NotImplementedError

    def probabilities(
        self, match_id: int, version: int | None = None
    ) -> PositionProbabilities | None:
        """Position probabilities of an analysis; None where it came without."""
        raise NotImplementedError

    # What people do
    def review(self, match_id: int, opinion: str = "", version: int | None = None) -> Review:
        """The match as it stands."""
        raise NotImplementedError

    def edit(self, match_id: int, edit: Edit, author: str, opinion: str = "") -> Review:
        """Do an edit; it is on the disk when this returns.

        Raises
        ------
        InputError
            When the edit itself makes no sense. Nothing is kept of it.
        ConflictError
            When what it acts on is no longer there. Nothing is kept of it.
        """
        raise NotImplementedError

    def undo(self, match_id: int, author: str, opinion: str = "") -> Review:
        """Take back the newest edit in force; ConflictError where there is none."""
        raise NotImplementedError

    def redo(self, match_id: int, author: str, opinion: str = "") -> Review:
        """Put back what was taken back last; ConflictError where there is nothing."""
        raise NotImplementedError

    def log(self, match_id: int, opinion: str | None = None) -> list[Entry]:
        """Everything people did, oldest first; of one opinion, or of all (None)."""
        raise NotImplementedError

    def opinions(self, match_id: int) -> list[str]:
        """Names of the second opinions on a match."""
        raise NotImplementedError

    # Jobs
    def queue_job(self, match_id: int, settings: Mapping[str, object] | None = None) -> Job:
        """Line up an analysis; ConflictError where one of the match waits or runs."""
        raise NotImplementedError

    def start_job(self, job_id: int) -> Job:
        """Mark a waiting job, or one that a crash left running, as running from now on."""
        raise NotImplementedError

    def update_job(self, job_id: int, progress: float, stage: str = "") -> Job:
        """Note progress. The job that comes back may be cancelled: then stop."""
        raise NotImplementedError

    def end_job(self, job_id: int, state: JobState = JobState.DONE, message: str = "") -> Job:
        """Mark a job as done, failed (with a sentence) or cancelled; final states stay."""
        raise NotImplementedError

    def job(self, job_id: int) -> Job:
        """One job; NotFoundError where there is none."""
        raise NotImplementedError

    def jobs(self, match_id: int | None = None, open_only: bool = False) -> Sequence[Job]:
        """Jobs, newest first; ``open_only`` leaves those that wait or run."""
        raise NotImplementedError
