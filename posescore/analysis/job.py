"""Analyses as jobs of the library: told how far they are, stopped, taken up again after a crash.

The command line runs one at once; ``python -m posescore.analysis.job FOLDER`` runs all that wait
in a library, one after the other, in a process of its own, and ends with the program that started
it.
"""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Final

from posescore.errors import ConflictError, NotFoundError, PoseScoreError
from posescore.footage.proxy import copying, make_proxy, plays_in_browsers
from posescore.footage.reading import Footage
from posescore.library.adding import Added, add_footage
from posescore.library.jobs import Job, JobState
from posescore.library.library import Library
from posescore.library.match import Match, MatchInfo
from posescore.library.review.replay import division_of, rules_named
from posescore.library.store.claims import QUEUE
from posescore.terms import Progress, silent
from posescore.words import sentence

if TYPE_CHECKING:  # heavy, and not needed to line up or stop a job
    from posescore.analysis.pipeline import Analysis, Settings

PLAN: Final[Mapping[str, tuple[float, float]]] = {
    "finding both athletes": (0.0, 0.97),
    "naming positions": (0.97, 1.0),
    "making a copy for the browser": (0.0, 1.0),
}
"""Where every stage begins and ends, as shares of the whole. The copy is made while the athletes
are found; it is a stage of its own, and then nearly all, where their keypoints are known already.
"""
NO_SETTINGS: Final[Mapping[str, object]] = {}
TOLD_EVERY_S: Final = 0.4
"""Every note of progress waits for the disk; more often nobody could read it."""


Warn = Callable[[str], None]
"""Told of trouble that does not end the work, in a sentence."""
Analyse = Callable[[Match, Mapping[str, object], Library, Progress, Warn], None]
"""Analyses and keeps, with a job's settings, as :func:`analyse_match` does; raising leaves nothing
half-made."""


class StoppedError(Exception):
    """A person stopped the analysis."""


class _Told:
    """Notes progress in the library and passes it on; raises where a person stopped the job.

    What a job that is taken up again had done before comes back quickly; the time that is left is
    counted from where new work begins.
    """

    def __init__(self, library: Library, job: Job, progress: Progress) -> None:
        self._library = library
        self._job_id = job.id
        self._before = job.progress
        self._progress = progress
        self._told_at = 0.0
        self._stage = ""
        self._share = 0.0

    def __call__(self, stage: str, done: int, total: int) -> None:
        self._progress(stage, done, total)
        if stage == self._stage and time.monotonic() < self._told_at + TOLD_EVERY_S:
            return
        self._stage = stage
        self._share = max(self._share, share_of(stage, done, total))
        job = self._library.update_job(self._job_id, self._share, stage)
        self._told_at = time.monotonic()
        if job.state is not JobState.RUNNING:
            raise StoppedError
        if self._before and self._share > self._before:
            self._before = 0.0  # from here on it is new work, and its rate tells the time left
            self._library.start_job(self._job_id)


def share_of(stage: str, done: int, total: int) -> float:
    """Share of a whole analysis that is done; 0 where the stage is unknown."""
    first, last = PLAN.get(stage, (0.0, 0.0))
    return first + (last - first) * min(1.0, max(0.0, done / max(total, 1)))


def settings_of(match: Match, kept: Mapping[str, object]) -> Settings:
    """What an analysis depends on, by its job and by what is said of the match."""
    from posescore.analysis.pipeline import Settings
    from posescore.pose.estimators.choice import USUAL

    track = kept.get("track_file")
    return Settings(
        track_file=Path(str(track)) if track else None,
        every_frame=bool(kept.get("every_frame")),
        estimator=str(kept.get("estimator") or USUAL),
        athlete_a_gi=match.info.athlete_a.gi_colour or None,
        afresh=bool(kept.get("afresh")),
    )


def footage_of(match: Match) -> Footage:
    """Open the footage of a match.

    Raises
    ------
    NotFoundError
        When the match was added without footage, or its file changed since.
    FootageError
        When it cannot be read.
    """
    known = match.info.footage
    if known is None:
        raise NotFoundError(f"match {match.id} was added without footage: nothing to analyse.")
    path = Path(known.path)
    if not path.is_file() or path.stat().st_size == known.size_bytes:
        footage = Footage(path)
        if footage.sha256 == known.sha256:
            return footage
    raise NotFoundError(f"{path} is another file than when it was added: add it again.")


def analyse_match(
    match: Match,
    settings: Mapping[str, object],
    library: Library,
    progress: Progress,
    warn: Warn,
    footage: Footage | None = None,
) -> None:
    """Take a match through the pipeline, and make the copy that browsers need on the way.

    ``footage`` is that of the match where it is open already; ``warn`` is told, in a sentence, of
    footage that is damaged in part.

    Raises
    ------
    NotFoundError
        When its footage is another file than when it was added.
    PoseScoreError
        What the pipeline says.
    """
    from posescore.analysis.pipeline import analyse

    footage = footage or footage_of(match)
    damage = footage.damage()
    if damage is not None:
        warn(damage)
    proxy = match.proxy_path
    wanted = not plays_in_browsers(footage.info) and not proxy.is_file()
    source = copying(footage, proxy) if wanted else footage
    poses = library.poses_of(footage.sha256)
    analysis = analyse(source, settings_of(match, settings), poses, progress)
    if wanted and not proxy.is_file():
        make_proxy(footage, proxy, progress)
    _keep(library, match, footage, analysis)


def _keep(library: Library, match: Match, footage: Footage, made: Analysis) -> None:
    from posescore.library.analysis import Analysis
    from posescore.pose.track_file import write_track

    with tempfile.TemporaryDirectory(dir=match.folder, prefix="track-") as folder:
        path = Path(folder) / "track.parquet"
        write_track(made.track, path)
        kept = Analysis(
            clock=footage.clock(),
            holds=made.holds,
            events=made.events,
            findings=made.track.findings,
            provenance=made.probabilities.provenance,
            rules=match.info.rules,
            track_path=path,
        )
        library.save_analysis(match.id, kept)


def run_job(
    library: Library,
    job: Job,
    progress: Progress = silent,
    warn: Warn = lambda sentence: None,
    analyse: Analyse = analyse_match,
) -> Match:
    """Run one job to its end, whatever that is, and write the end into the library.

    Raises
    ------
    ConflictError
        When another program runs it, or it has ended already.
    StoppedError
        When a person stopped it. Nothing half-made is left.
    PoseScoreError
        What the analysis came to grief on; the job keeps the sentence.
    """
    with library.claim(job.match_id):
        return _run_claimed(library, job, progress, warn, analyse)


def _run_claimed(
    library: Library,
    job: Job,
    progress: Progress,
    warn: Warn,
    analyse: Analyse,
) -> Match:
    library.update_job(job.id, 0.0, "opening the footage")
    library.start_job(job.id)
    try:
        match = library.match(job.match_id)
        _clear(match.folder)
        told = _Told(library, job, progress)
        analyse(match, job.settings, library, told, warn)
        library.end_job(job.id)
        return library.match(job.match_id)
    except StoppedError:
        raise
    except PoseScoreError as error:
        _end_failed(library, job, str(error))
        raise
    except Exception as error:
        _end_failed(library, job, _own_sentence(error))
        raise
    except BaseException:  # interrupted by the person at the keyboard
        library.end_job(job.id, JobState.CANCELLED)
        raise


def _clear(folder: Path) -> None:
    """Remove what a killed analysis left half-made; whole files have whole names."""
    for left in folder.glob("*"):
        if left.is_dir():
            shutil.rmtree(left, ignore_errors=True)
        elif left.name.startswith("."):
            left.unlink(missing_ok=True)


def _end_failed(library: Library, job: Job, sentence: str) -> None:
    """The sentence stays with the job; where the match was deleted meanwhile there is no job."""
    try:
        library.end_job(job.id, JobState.FAILED, sentence)
    except NotFoundError as gone:
        raise StoppedError from gone


def _own_sentence(error: Exception) -> str:
    if isinstance(error, MemoryError):
        return sentence("out_of_memory")
    said = " ".join(str(error).split())[:200]
    return sentence("own_failure", kind=type(error).__name__, said=said)


def analyze_now(
    library: Library,
    video: Path,
    info: MatchInfo,
    settings: Mapping[str, object] = NO_SETTINGS,
    progress: Progress = silent,
    warn: Warn = lambda sentence: None,
) -> Match:
    """Add a video to the library and analyse it at once, as a job that everybody can see.

    Footage that the library knows gets another analysis of the same match, of which everything
    that people said stays. A match that was added for this goes again where the analysis fails or
    is stopped from the pages; one that is interrupted at the keyboard stays, with the keypoints
    found so far.

    Parameters
    ----------
    settings
        ``every_frame`` (bool), ``track_file`` (path) and ``estimator`` (name), as a job keeps them.
    warn
        Told, in a sentence, of footage that is damaged in part.

    Raises
    ------
    ConflictError
        When that match is being analysed already.
    PoseScoreError
        One sentence.
    """
    division_of(rules_named(info.rules), info.division)
    footage = Footage(video)
    added = add_footage(library, footage, info)
    with library.claim(added.match.id):
        try:
            job = _queued(library, added.match, settings)
            analyse = partial(analyse_match, footage=footage)
            return _run_claimed(library, job, progress, warn, analyse)
        except KeyboardInterrupt:
            raise  # what was found so far waits in the library for the next time
        except BaseException as error:
            _take_back(library, added)
            if isinstance(error, StoppedError):
                raise ConflictError(sentence("analysis_stopped")) from error
            raise


def _queued(library: Library, match: Match, settings: Mapping[str, object]) -> Job:
    """A new job; one that waits or was left over by a crash makes room for it."""
    for job in library.jobs(match.id, open_only=True):
        library.end_job(job.id, JobState.CANCELLED)
    return library.queue_job(match.id, settings)


def _take_back(library: Library, added: Added) -> None:
    if not added.known:
        with suppress(NotFoundError):  # deleted meanwhile
            for job in library.jobs(added.match.id, open_only=True):
                library.end_job(job.id, JobState.CANCELLED)
            library.delete_match(added.match.id)


def work(library: Library, analyse: Analyse = analyse_match) -> None:
    """Run every job that waits, oldest first, until none is left.

    A job that is marked as running and that no living program holds was left by a crash: it is
    taken up again, and the keypoints that were finished before are used.
    """
    while True:
        jobs = [j for j in library.jobs(open_only=True) if not library.is_claimed(j.match_id)]
        if not jobs:
            return
        try:
            run_job(library, jobs[-1], analyse=analyse)
        except (StoppedError, PoseScoreError):
            continue  # the job says how it ended
        except Exception as error:
            print(_own_sentence(error), file=sys.stderr, flush=True)


def end_with(parent: int) -> None:
    """Leave at once, whatever is being done, when the other end of a pipe (a descriptor) closes.

    That end is held by the program that started this one: it closes even when that is killed.
    """

    def wait() -> None:
        while os.read(parent, 1):
            pass
        os._exit(0)

    threading.Thread(target=wait, daemon=True).start()


def main(analyse: Analyse = analyse_match) -> None:
    """Work on the library of the folder that the command line names, unless somebody does."""
    end_with(sys.stdin.fileno())
    if hasattr(os, "nice"):
        os.nice(5)  # the pages go first
    with Library(Path(sys.argv[1])) as library, suppress(ConflictError), library.claim(QUEUE):
        work(library, analyse)


if __name__ == "__main__":
    main()
