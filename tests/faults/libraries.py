"""Libraries with damaged rows and damaged pages; two versions of the program; a clock set back."""

from __future__ import annotations

import json
import random
import shutil
import sqlite3
from contextlib import closing, suppress
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from unittest.mock import patch

from posescore.errors import PoseScoreError, StorageError
from posescore.export.export import FORMATS, export_text
from posescore.footage.clock import FrameClock
from posescore.library.checking import check_library
from posescore.library.library import Library
from posescore.library.review.edits import AddAward, Confirm, Dismiss
from posescore.library.store import backups
from posescore.library.store.schema import FILE_NAME, MIGRATIONS
from posescore.library.store.storage import Storage
from posescore.pose.track_file import write_track
from posescore.scoring.proposal import ProposalKind
from tests.faults.files import damaged
from tests.faults.running import FaultError, sentence_or_result
from tests.library.samples import INFO, A, analysis
from tests.web.small_match import make_track

COLUMNS = {
    "match": ("info", "search", "footage_sha256", "added_at", "changed_at"),
    "analysis": (
        "version", "made_at", "rules", "clock", "end_s", "holds", "events", "findings",
        "provenance", "track_file", "track_sha256",
    ),
    "entry": ("author", "made_at", "kind", "payload", "analysis_version", "opinion"),
    "job": ("state", "progress", "stage", "settings", "created_at", "started_at"),
    "standing": ("basis", "content"),
}  # fmt: skip
NASTY = (
    None, 0, -1, 2**62, 1.5, float("inf"), "", "x", "{}", "[]", "null", "[[1]]", "NaN", b"",
    b"\xff",
    "\0", "[" * 20_000, '{"edit": {"kind": "confirm"}, "effect": {}}', "2026-01-01T00:00:00",
    "9999-99-99", "../../x", '{"title": ""}', '{"title": "x", "rules": "nothing"}', "1e999",
)  # fmt: skip


@cache
def template(folder: str) -> Path:
    """A library of two matches with decisions, a job and kept standings."""
    place = Path(folder) / "template"
    track = place.with_name("template.parquet")
    write_track(make_track(FrameClock.steady(120, 30.0)), track)
    with Library(place) as library:
        for _ in range(2):
            match = library.add_match(INFO)
            library.save_analysis(match.id, analysis(track=track))
            keys = [item.key for item in library.review(match.id).undecided]
            library.edit(match.id, Confirm(keys[0]), "Ann")
            library.edit(match.id, Dismiss(keys[1], "not held"), "Ben")
            library.undo(match.id, "Ben")
            library.edit(match.id, Confirm(keys[0]), "Cleo", "Second")
        library.end_job(library.queue_job(1).id)
        library.standings(library.matches())
        library.queue_job(2)
    backups.check_alone(place / FILE_NAME)
    return place


def fresh(place: Path) -> Path:
    """A copy of the template, of its own."""
    folder = place / "library"
    shutil.copytree(template(str(place.parent)), folder)
    return folder


def used(folder: Path, whole: int | None = None) -> None:
    """Everything that pages and commands ask of a library.

    Parameters
    ----------
    whole
        A match that must be there as before, whatever happened to others.
    """
    with Library(folder) as library:
        matches = library.matches()
        standings = library.standings(matches)
        if whole is not None and (
            library.match(whole).info != INFO or standings[whole].trouble or len(matches) != 2
        ):
            raise FaultError(f"match {whole} is hidden by damage of another")
        library.jobs()
        for match in matches:
            for ask in (library.review, library.log, library.opinions):
                with suppress(PoseScoreError):
                    ask(match.id)
            for name in FORMATS:
                with suppress(PoseScoreError):
                    export_text(library, match.id, name).encode()
        with suppress(PoseScoreError):
            library.edit(1, AddAward(A, ProposalKind.SWEEP, 3.0, 2), "Ann")
        with suppress(StorageError):
            backups.keep_copy(library.path)
    list(check_library(folder, hashes=False))


def rows(rng: random.Random, place: Path) -> str:
    """A value of a row replaced: a sentence names it, and the other match stays as it was."""
    folder = fresh(place)
    table = rng.choice([*COLUMNS, "entry", "analysis", "match"])
    column = rng.choice(COLUMNS[table])
    key = "id" if table == "match" else "match_id"
    with closing(sqlite3.connect(folder / FILE_NAME)) as database:
        database.execute("PRAGMA ignore_check_constraints=ON")
        database.execute("DROP TRIGGER entry_never_changes")
        (value,) = database.execute(f"SELECT {column} FROM {table} WHERE {key} = 2").fetchone()
        if isinstance(value, str) and rng.random() < 0.5:
            value = damaged(rng, value.encode())
            value = value.decode("utf-8", "replace") if rng.random() < 0.7 else value
        else:
            value = rng.choice(NASTY)
        with suppress(sqlite3.IntegrityError):
            database.execute(f"UPDATE {table} SET {column} = ? WHERE {key} = 2", (value,))
        database.commit()
    return sentence_or_result(lambda: used(folder, whole=1))


def pages(rng: random.Random, place: Path) -> str:
    """Bytes of the database damaged: refused in a sentence or read, then put right."""
    folder = fresh(place)
    path = folder / FILE_NAME
    path.write_bytes(damaged(rng, path.read_bytes()))
    end = sentence_or_result(lambda: used(folder))
    if rng.random() < 0.2:
        from posescore.library.repairing import put_right

        with suppress(PoseScoreError):
            list(put_right(folder))
            backups.check_whole(path)
    return end


def versions(rng: random.Random, place: Path) -> str:
    """An older program at a library that a newer one brings forward: each reads or refuses."""
    folder = place / "library"
    older = Storage(folder, MIGRATIONS[: rng.randint(1, len(MIGRATIONS) - 1)])
    with older.write() as connection:
        connection.exec_driver_sql(
            "INSERT INTO match (info, search, added_at, changed_at) VALUES (?, '', ?, ?)",
            (json.dumps({"title": "old"}), *["2026-01-01T00:00:00+00:00"] * 2),
        )
    with Library(folder) as newer:
        for _ in range(6):
            if rng.random() < 0.5:
                newer.add_match(INFO)
            else:
                with older.write() as connection:
                    connection.exec_driver_sql("UPDATE match SET search = 'x' WHERE id = 1")
        if newer.match(1).info.title != "old":
            raise FaultError("what the older program wrote is gone")
        newer.queue_job(1)
    older.close()
    with suppress(StorageError):
        Storage(folder, MIGRATIONS[:2]).close()
    with closing(sqlite3.connect(folder / FILE_NAME)) as database:
        database.execute("INSERT INTO migration VALUES (99, 'later', '2031-01-01', '9.0')")
        database.commit()
    if sentence_or_result(lambda: Library(folder).close()) != "refused":
        raise FaultError("a library of a later version was opened")
    return "done"


class _Clock(datetime):
    """A clock that jumps."""

    jump = timedelta(0)

    @classmethod
    def now(cls, tz: object = None) -> datetime:  # type: ignore[override]
        """The time, as somebody set it."""
        return datetime.now(UTC) + cls.jump


def clock_set_back(rng: random.Random, place: Path) -> str:
    """Years forth and back between edits: order, undo and copies go by numbers."""
    folder = fresh(place)
    with (
        patch("posescore.library.store.match_rows.datetime", _Clock),
        Library(folder) as library,
    ):
        before = [entry.id for entry in library.log(1, "")]
        for number in range(6):
            _Clock.jump = timedelta(days=rng.randint(-4000, 4000))
            edit = AddAward(A, ProposalKind.SWEEP, 1.0 + number, 2, reason=str(number))
            library.edit(1, edit, "Ann")
            backups.keep_copy(library.path)
        library.undo(1, "Ann")
        log = [entry.id for entry in library.log(1, "")]
        if log != sorted(log) or len(log) != len(before) + 7:
            raise FaultError("the log is out of order")
        library.standings(library.matches())
        for job in library.jobs():
            job.remaining_s(datetime.now(UTC))
        kept = backups.copies_of(library.path)
    with closing(sqlite3.connect(kept[0])) as database:
        (count,) = database.execute("SELECT count(*) FROM entry WHERE match_id = 1").fetchone()
    if count < len(log):
        raise FaultError("the newest copy is not the newest")
    return "done"
