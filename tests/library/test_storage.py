"""The database: migrated, refused in one sentence where it cannot be used, nothing half-written."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import MetaData, text

from posescore.errors import ConflictError, StorageError
from posescore.library.jobs import JobState
from posescore.library.library import Library
from posescore.library.match import MatchInfo
from posescore.library.review.edits import AddAward, Confirm
from posescore.library.store.schema import MIGRATIONS, TABLES, VERSION, Migration
from posescore.library.store.storage import ENVIRONMENT, FILE_NAME, Storage, library_folder
from posescore.scoring.proposal import ProposalKind
from tests.library.samples import INFO, A, B, library_with_match

VERSION_1 = Path(__file__).with_name("version_1.sql")
VERSION_3 = Path(__file__).with_name("version_3.sql")


def one_sentence(caught: pytest.ExceptionInfo[StorageError]) -> bool:
    said = str(caught.value)
    return "\n" not in said and said.endswith(".") and FILE_NAME.split(".")[0] in said


# Where it lies -----------------------------------------------------------------------------------
def test_the_folder_is_the_one_named_then_the_environments_then_the_users(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(ENVIRONMENT, str(tmp_path / "chosen"))
    assert library_folder() == tmp_path / "chosen"
    assert library_folder(tmp_path / "named") == tmp_path / "named"
    monkeypatch.setenv(ENVIRONMENT, " ")
    assert library_folder().name == "posescore"
    assert library_folder().is_absolute()


def test_a_folder_with_odd_letters_works(tmp_path: Path) -> None:
    with Library(tmp_path / "päd? #1 & so 100%") as library:
        assert library.add_match(INFO).info == INFO


# Migrations --------------------------------------------------------------------------------------
def columns(folder: Path) -> dict[str, set[str]]:
    found = MetaData()
    storage = Storage(folder)
    with storage.read() as connection:
        found.reflect(connection)
    storage.close()
    return {name: set(table.columns.keys()) for name, table in found.tables.items()}


def test_the_migrations_lead_to_the_tables_the_program_reads(tmp_path: Path) -> None:
    made = columns(tmp_path)
    assert made.pop("migration") == {"version", "title", "applied_at", "program_version"}
    assert made == {table.name: set(table.columns.keys()) for table in TABLES}


@pytest.fixture
def old_folder(tmp_path: Path) -> Iterator[Path]:
    """A library as version 1 of the schema left it."""
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as database:
        database.executescript(VERSION_1.read_text("utf-8"))
    return tmp_path


def test_a_library_of_version_1_opens_with_all_that_was_said(old_folder: Path) -> None:
    with Library(old_folder) as library:
        (match,) = library.matches()
        assert match.info.name_of(A) == "Mira Ostrand"
        assert [entry.kind for entry in library.log(match.id)] == ["confirm", "split", "undo"]
        review = library.review(match.id)
        assert review.next_redo is not None
        assert review.confirmed_score[A].points == 4
        assert library.jobs() == []
        assert library.queue_job(match.id).match_id == match.id
    with closing(sqlite3.connect(old_folder / FILE_NAME)) as database:
        versions = database.execute("SELECT version FROM migration").fetchall()
    assert versions == [(number,) for number in range(1, VERSION + 1)]


def test_a_library_of_version_3_opens_with_every_decision(tmp_path: Path) -> None:
    """Made by the program that still kept probabilities, and jobs bound to their match."""
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as database:
        database.executescript(VERSION_3.read_text("utf-8"))
    outgrown = tmp_path / "matches" / "1" / "probabilities-0123456789abcdef.npz"
    outgrown.parent.mkdir(parents=True)
    outgrown.touch()
    with Library(tmp_path) as library:
        (match,) = library.matches()
        said = [(entry.kind, entry.author) for entry in library.log(match.id)]
        assert said == [
            ("confirm", "Ann"), ("dismiss", "Ben"), ("add_award", "Ann"), ("set_check", "Ann"),
            ("relabel", "Ann"), ("add_event", "Ann"), ("swap_athletes", "Ann"), ("undo", "Ann"),
            ("set_division", "Ann"), ("confirm", "Cleo"),
        ]  # fmt: skip
        review = library.review(match.id)
        status = {item.key: item.status for item in review.items if item.decision}
        assert status == {
            "takedown-A-12000": "confirmed",
            "guard_pass-A-18000": "dismissed",
            "added-3": "added",
        }
        assert review.division == {"age": "adult", "belt": "brown"}
        assert (review.confirmed_score[A].points, review.confirmed_score[B].points) == (2, 2)
        assert library.review(match.id, "Second").confirmed_score[A].points == 2
        assert [job.state for job in library.jobs(match.id)] == ["queued", "failed"]
        with pytest.raises(ConflictError):
            library.queue_job(match.id)
        library.end_job(2, JobState.CANCELLED)
        assert library.queue_job(match.id).id == 3
        library.end_job(3, JobState.CANCELLED)
        library.delete_match(match.id)
        assert library.jobs() == []
    assert not outgrown.exists()


def dump(folder: Path) -> list[str]:
    with closing(sqlite3.connect(folder / FILE_NAME)) as database:
        return list(database.iterdump())


def test_a_migration_that_fails_leaves_the_old_library_whole(old_folder: Path) -> None:
    before = dump(old_folder)
    broken = Migration("breaks", ("CREATE TABLE half (id INTEGER)", "CREATE TABLE nonsense"))
    with pytest.raises(StorageError):
        Storage(old_folder, (MIGRATIONS[0], broken))
    assert dump(old_folder) == before


def test_a_newer_library_is_refused_and_left_alone(tmp_path: Path) -> None:
    Library(tmp_path).close()
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as database:
        database.execute("INSERT INTO migration VALUES (99, 'later', '2031-01-01', '9.0')")
        database.commit()
    with pytest.raises(StorageError, match="newer PoseScore") as caught:
        Library(tmp_path)
    assert one_sentence(caught)


# What cannot be used -----------------------------------------------------------------------------
def test_a_file_where_the_folder_should_be(tmp_path: Path) -> None:
    (tmp_path / "library").write_text("not a folder")
    with pytest.raises(StorageError) as caught:
        Library(tmp_path / "library")
    assert one_sentence(caught)


@pytest.mark.parametrize("content", [b"these are not the tables you want" * 99, os.urandom(9000)])
def test_a_file_that_is_no_database(tmp_path: Path, content: bytes) -> None:
    (tmp_path / FILE_NAME).write_bytes(content)
    with pytest.raises(StorageError, match="damaged") as caught:
        Library(tmp_path)
    assert one_sentence(caught)
    assert (tmp_path / FILE_NAME).read_bytes() == content


def test_a_damaged_library_says_so(tmp_path: Path) -> None:
    library, match = library_with_match(tmp_path)
    library.close()
    path = tmp_path / FILE_NAME
    data = bytearray(path.read_bytes())
    data[4096:] = b"\xa5" * (len(data) - 4096)
    path.write_bytes(data)
    with pytest.raises(StorageError, match="damaged") as caught, Library(tmp_path) as again:
        again.review(match.id)
    assert one_sentence(caught)


def test_another_programs_database_is_left_alone(tmp_path: Path) -> None:
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as database:
        database.execute("CREATE TABLE recipe (id INTEGER)")
    with pytest.raises(StorageError, match="something else"):
        Library(tmp_path)
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as database:
        tables = database.execute("SELECT name FROM sqlite_master").fetchall()
    assert tables == [("recipe",)]


READ_ONLY = """
import os, sys
from pathlib import Path
from posescore.errors import ConflictError, StorageError
from posescore.library.jobs import JobState
from posescore.library.library import Library
Library(Path(sys.argv[1])).close()  # everything is imported before the rights are given up
if os.getuid() == 0:
    os.seteuid(65534)
try:
    Library(Path(sys.argv[2])).close()
except StorageError as error:
    print(error)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="permissions of another kind")
def test_a_library_that_cannot_be_written(tmp_path: Path) -> None:
    with tempfile.TemporaryDirectory() as open_to_all:
        folder = Path(open_to_all) / "library"
        library, _ = library_with_match(folder)
        library.close()
        paths = [*folder.rglob("*"), folder]
        for path in paths:
            path.chmod(0o555 if path.is_dir() else 0o444)
        Path(open_to_all).chmod(0o755)
        command = [sys.executable, "-c", READ_ONLY, str(tmp_path / "own"), str(folder)]
        done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=True)
        for path in reversed(paths):
            path.chmod(0o755)
    assert "cannot be written" in done.stdout
    assert len(done.stdout.splitlines()) == 1


def limit_pages(library: Library, spare: int) -> None:
    """Let every connection of this library grow its file by a few pages only."""
    from sqlalchemy import event

    engine = library._storage._engine
    engine.dispose()

    @event.listens_for(engine, "connect")
    def _limit(connection: sqlite3.Connection, _record: object) -> None:
        (pages,) = connection.execute("PRAGMA page_count").fetchone()
        connection.execute(f"PRAGMA max_page_count={pages + spare}")


def until_full(write: Callable[[int], object]) -> int:
    """Write until the disk is full; how often it went well."""
    for number in range(1000):
        try:
            write(number)
        except StorageError as error:
            assert str(error).endswith("is full: nothing was kept; free some space.")  # noqa: PT017
            return number
    pytest.fail("the disk never became full")


def test_a_full_disk_keeps_all_that_was_acknowledged_and_nothing_else(tmp_path: Path) -> None:
    library, match = library_with_match(tmp_path)
    limit_pages(library, 3)
    award = AddAward(B, ProposalKind.SWEEP, 5.0, 2, reason="x" * 3000)
    acknowledged = until_full(lambda _: library.edit(match.id, award, "Ann"))
    assert 0 < acknowledged < 20
    assert len(library.log(match.id)) == acknowledged
    library.close()
    with Library(tmp_path) as again:
        assert len(again.log(match.id)) == acknowledged
        again.edit(match.id, Confirm(again.review(match.id).undecided[0].key), "Ann")


def test_a_full_disk_adds_no_half_match(tmp_path: Path) -> None:
    library, match = library_with_match(tmp_path)
    limit_pages(library, 0)
    with library:
        until_full(lambda number: library.add_match(MatchInfo(f"{number}", note="x" * 4000)))
    with Library(tmp_path) as again:
        assert again.match(match.id).analysis_version == 1
        folders = {int(path.name) for path in (tmp_path / "matches").iterdir()}
        assert folders == {each.id for each in again.matches()}


def test_a_writer_that_waits_too_long_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("posescore.library.store.storage.BUSY_TIMEOUT_S", 0.05)
    with Library(tmp_path) as library, closing(sqlite3.connect(tmp_path / FILE_NAME)) as other:
        other.isolation_level = None
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(StorageError, match="in use") as caught:
            library.add_match(INFO)
        assert one_sentence(caught)
        assert library.matches() == [], "reading goes on beside a writer"
        other.execute("ROLLBACK")
        assert library.add_match(INFO).id == 1


# The log is only ever added to -------------------------------------------------------------------
def test_the_database_itself_refuses_to_change_an_entry(tmp_path: Path) -> None:
    library, match = library_with_match(tmp_path)
    with library:
        library.edit(match.id, Confirm(library.review(match.id).undecided[0].key), "Ann")
        with pytest.raises(StorageError, match="never changed"), library._storage.write() as write:
            write.execute(text("UPDATE entry SET author = 'Ben'"))
        (entry,) = library.log(match.id)
        assert entry.author == "Ann"


def test_every_write_is_flushed_to_the_disk(tmp_path: Path) -> None:
    storage = Storage(tmp_path)
    with storage.write() as connection:
        modes = [
            connection.execute(text(f"PRAGMA {name}")).scalar()
            for name in ("journal_mode", "synchronous", "foreign_keys")
        ]
    storage.close()
    assert modes == ["wal", 2, 1]


def test_what_a_crash_left_of_a_deleted_match_is_swept_away(tmp_path: Path) -> None:
    library, match = library_with_match(tmp_path)
    with library:
        gone = library.add_match(MatchInfo("gone"))
        library.delete_match(gone.id)
    shutil.copytree(match.folder, gone.folder)
    shutil.copytree(match.folder, match.folder.with_name("77"))
    with Library(tmp_path) as again:
        assert not gone.folder.exists()
        assert again.match(match.id).folder.is_dir()
        assert match.folder.with_name("77").is_dir(), "not of a match this library ever had"
    (tmp_path / FILE_NAME).unlink()
    with pytest.raises(StorageError, match="is gone, but folders of 2 matches"):
        Library(tmp_path)
    assert match.folder.is_dir(), "a lost database does not take the files with it"


def test_the_fixture_is_version_1() -> None:
    assert "'second opinions" not in VERSION_1.read_text("utf-8")
    assert json.dumps(MIGRATIONS[0].title)[1:-1] in VERSION_1.read_text("utf-8")
