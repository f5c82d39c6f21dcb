"""The library: matches, what the program made of them, and what people said. Kept for good."""

from __future__ import annotations

import shutil
import time
from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import Final, Self

from posescore.errors import InputError, PoseScoreError, StorageError
from posescore.library import standing
from posescore.library.analysis import Analysis
from posescore.library.job_table import insert_job, list_jobs
from posescore.library.jobs import Job, in_analysis
from posescore.library.match import Match, MatchInfo
from posescore.library.review.replay import division_of, rules_named
from posescore.library.reviews import Reviews
from posescore.library.standing import Standing
from posescore.library.store import analysis_rows, backups, claims, match_rows, moment_rows
from posescore.library.store.match_rows import SortKey
from posescore.library.store.moment_rows import Moment
from posescore.library.store.storage import Storage, library_folder, sentences

_LOOKED_OVER_S: Final = 0.3
"""So long at most a list of matches is held up to look whether the rows behind it can be read."""


class Library(Reviews):
    """All matches of one folder. Safe from several threads and from two processes.

    Parameters
    ----------
    folder
        Where it lies; None takes the environment's ``POSESCORE_LIBRARY``, else the user's data
        folder. It is made where it is missing.
    read_only
        Only look. A folder that cannot be written is only looked at in any case; what would change
        anything is then refused with one sentence.
    repairing
        Open a database that knows no match though folders of matches lie beside it.

    Raises
    ------
    StorageError
        When the folder cannot be used, or the library is broken or newer than this program.
    """

    def __init__(
        self, folder: Path | None = None, *, read_only: bool = False, repairing: bool = False
    ) -> None:
        super().__init__(Storage(library_folder(folder), read_only=read_only, repairing=repairing))
        self._looked_over: dict[int, tuple[int | None, int]] = {}
        try:
            with self._storage.read() as connection:
                given = match_rows.given_ids(connection)
            if not given and not repairing:
                backups.refuse_lost(self.path)
            if not self.read_only:
                self._sweep()
        except BaseException:
            self.close()
            raise

    def _sweep(self) -> None:
        """Remove folders of deleted matches, where a crash left them, and what is read no more."""
        with self._storage.write() as connection:
            deleted = match_rows.deleted_ids(connection)
            for left in (self.folder / "matches").glob("*"):
                if left.name.isdecimal() and int(left.name) in deleted:
                    shutil.rmtree(left, ignore_errors=True)
        for outgrown in (self.folder / "matches").glob("*/probabilities-*.npz"):
            outgrown.unlink(missing_ok=True)  # kept by earlier versions

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    # Matches ------------------------------------------------------------------------------------
    def add_match(self, info: MatchInfo) -> Match:
        """Add a match and make its folder."""
        with self._storage.write() as connection:
            division_of(rules_named(info.rules), info.division)
            match_id = match_rows.insert_match(connection, info)
            match = match_rows.read_match(connection, self.folder, match_id)
        with sentences(match.folder):
            match.folder.mkdir(parents=True, exist_ok=True)
        return match

    def update_match(self, match_id: int, info: MatchInfo) -> Match:
        """Replace what people say of a match."""
        with self._storage.write() as connection:
            division_of(rules_named(info.rules), info.division)
            match_rows.read_match(connection, self.folder, match_id)
            match_rows.change_match(connection, match_id, info)
            return match_rows.read_match(connection, self.folder, match_id)

    def match(self, match_id: int) -> Match:
        """One match; NotFoundError where there is none."""
        with self._storage.read() as connection:
            return match_rows.read_match(connection, self.folder, match_id)

    def find_match(self, text: str) -> Match:
        """The match of that number, or the one match whose title is or holds that text."""
        with self._storage.read() as connection:
            return match_rows.find_match(connection, self.folder, text)

    def match_of_footage(self, sha256: str) -> Match | None:
        """The newest match of that footage, wherever the file lies now."""
        with self._storage.read() as connection:
            return match_rows.match_of_footage(connection, self.folder, sha256)

    def matches(
        self, search: str = "", sort: SortKey = "added", descending: bool = True
    ) -> list[Match]:
        """Matches whose title, event, mat, names, belts or colours hold every searched word."""
        with self._storage.read() as connection:
            return match_rows.list_matches(connection, self.folder, search, sort, descending)

    def keep_moment(
        self, match_id: int, stretch_s: tuple[float, float], sets: Sequence[str], remark: str,
        author: str,
    ) -> Moment:  # fmt: skip
        """Keep a stretch of a match; InputError where it does not lie in the footage."""
        end_s = self.analysis(match_id).clock.end_s
        if not 0 <= stretch_s[0] < stretch_s[1] <= end_s + 1e-6:
            raise InputError(
                f"end_s: a moment ends after its start, at {end_s:.2f} s at the latest."
            )
        names = list(dict.fromkeys(" ".join(name.split()) for name in sets))
        with self._storage.write() as connection:
            kept = moment_rows.insert_moment(connection, match_id, stretch_s, names, remark, author)
            return next(each for each in moment_rows.list_moments(connection) if each.id == kept)

    def moments(self, set_name: str = "") -> list[Moment]:
        """Moments that people keep, or those of one set, in the order in which they were kept."""
        with self._storage.read() as connection:
            kept = moment_rows.list_moments(connection)
        return [each for each in kept if not set_name or set_name in each.sets]

    def forget_moment(self, moment_id: int) -> None:
        """Forget a moment; its match stays as it is."""
        with self._storage.write() as connection:
            moment_rows.delete_moment(connection, moment_id)

    def delete_match(self, match_id: int) -> None:
        """Delete a match with everything made from it; the original footage stays.

        Raises
        ------
        ConflictError
            While the match is being analysed.
        """
        with self._storage.write() as connection:
            match = match_rows.read_match(connection, self.folder, match_id)
            if list_jobs(connection, match_id, open_only=True):
                raise in_analysis(match_id)
            match_rows.remove_match(connection, match_id)
        shutil.rmtree(match_rows.folder_of(self.folder, match_id), ignore_errors=True)
        claims.forget(self.folder / "jobs", match_id)
        footage = match.info.footage
        if footage is not None and self.match_of_footage(footage.sha256) is None:
            shutil.rmtree(self.poses_of(footage.sha256), ignore_errors=True)
            shutil.rmtree(self.copies_of(footage.sha256), ignore_errors=True)

    def poses_of(self, sha256: str) -> Path:
        """Folder for poses kept of a footage; it goes with the last match of that footage."""
        return self.folder / "poses" / sha256

    def copies_of(self, sha256: str) -> Path:
        """Folder for footage that was copied in; it goes with the last match of that footage."""
        return self.folder / "footage" / sha256

    def standings(self, matches: Sequence[Match]) -> dict[int, Standing]:
        """What stands in every analysed match of these; only what changed since is replayed."""
        with self._storage.read() as connection:
            kept = standing.read_standings(connection)
        give_up_s = time.monotonic() + _LOOKED_OVER_S
        found: dict[int, Standing] = {}
        made: list[tuple[Match, Standing]] = []
        for match in matches:
            if match.damage:
                found[match.id] = Standing.without_review(match, match.damage)
            if match.damage or match.analysis_version is None:
                continue
            basis, content = kept.get(match.id, ("", ""))
            known = standing.standing_from(content) if basis == standing.basis_of(match) else None
            if known is None:
                known = self._standing(match)
                made.append((match, known))
            found[match.id] = self._readable(match, known, give_up_s)
        lasting = [(match, one) for match, one in made if one.lasts]
        if lasting:
            with suppress(StorageError), self._storage.write() as connection:
                standing.write_standings(connection, lasting)
        return found

    def _readable(self, match: Match, known: Standing, give_up_s: float) -> Standing:
        """What is kept of a match's standing, unless the rows behind it are damaged.

        Every state of a match is read once; of a long list, some each time.
        """
        state = (match.analysis_version, match.entries)
        if self._looked_over.get(match.id) == state or known.trouble:
            return known
        if time.monotonic() > give_up_s:
            return known
        try:
            with self._storage.read() as connection:
                self._analysis(connection, match.id, match.analysis_version)
                self._log(connection, match.id, "")
        except StorageError as error:
            return Standing.without_review(match, str(error))
        self._looked_over[match.id] = state
        return known

    def _standing(self, match: Match) -> Standing:
        try:
            return Standing.of(self.review(match.id), self.analysis(match.id).doubt)
        except PoseScoreError as error:
            return Standing.without_review(match, str(error))

    # Analyses -----------------------------------------------------------------------------------
    def save_analysis(self, match_id: int, analysis: Analysis) -> Analysis:
        """Add a pass over the footage as the match's newest version.

        The track is copied into the match's folder under a name of its own. What people said
        stays as it is, byte for byte.
        """
        folder = self.match(match_id).folder
        before = set(folder.glob("*"))
        track = analysis.track_path
        with sentences(folder):
            kept = None if track is None else analysis_rows.keep_track(folder, track)
        try:
            with self._storage.write() as connection:
                version = analysis_rows.insert_analysis(connection, match_id, analysis, kept)
        except BaseException:
            if kept is not None and kept not in before:
                kept.unlink(missing_ok=True)
            raise
        return self.analysis(match_id, version)

    def analysis(self, match_id: int, version: int | None = None) -> Analysis:
        """One analysis, by default the newest; NotFoundError where there is none."""
        with self._storage.read() as connection:
            return self._analysis(connection, match_id, version)

    # Jobs ---------------------------------------------------------------------------------------
    def queue_job(self, match_id: int, settings: Mapping[str, object] | None = None) -> Job:
        """Line up an analysis; ConflictError where one of the match waits or runs."""
        with self._storage.write() as connection:
            match_rows.read_match(connection, self.folder, match_id)
            if list_jobs(connection, match_id, open_only=True):
                raise in_analysis(match_id)
            return insert_job(connection, match_id, settings or {})

    def jobs(self, match_id: int | None = None, open_only: bool = False) -> Sequence[Job]:
        """Analyses, newest first; ``open_only`` leaves those that wait or run."""
        if match_id is not None:
            self.match(match_id)
        return super().jobs(match_id, open_only)
