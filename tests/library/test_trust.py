"""A library that can be trusted for years: lost databases, copies, damaged rows, repair."""

from __future__ import annotations

import os
import shutil
import sqlite3
import time
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from posescore.cli.main import main
from posescore.errors import StorageError
from posescore.footage.clock import FrameClock
from posescore.library.checking import check_library
from posescore.library.library import Library
from posescore.library.match import MatchInfo
from posescore.library.review.edits import Confirm
from posescore.library.store import backups, salvage
from posescore.library.store.schema import FILE_NAME, TABLES
from posescore.library.tracks import kept_track
from posescore.pose.track_file import write_track
from tests.library.samples import INFO, A, analysis, library_with_match
from tests.web.small_match import make_track


def decide(library: Library, match_id: int) -> None:
    library.edit(match_id, Confirm(library.review(match_id).undecided[0].key), "Ann")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A library of two matches with a decision in each, and no program at it."""
    library, first = library_with_match(tmp_path / "library")
    with library:
        second = library.add_match(INFO)
        track = tmp_path / "track.parquet"
        write_track(make_track(FrameClock.steady(300, 30.0)), track)
        library.save_analysis(second.id, analysis(track=track))
        for match in (first, second):
            decide(library, match.id)
    return tmp_path / "library"


def command(*given: str | Path, folder: Path) -> Result:
    return CliRunner().invoke(
        main, ["library", *map(str, given), "--library", str(folder)], standalone_mode=True
    )


def damage(folder: Path, statement: str, *values: object) -> None:
    with closing(sqlite3.connect(folder / FILE_NAME)) as database:
        database.execute("DROP TRIGGER IF EXISTS entry_never_changes")
        database.execute(statement, values)
        database.commit()


def decisions(folder: Path) -> list[int]:
    with Library(folder) as library:
        return [len(library.log(match.id)) for match in library.matches()]


# A database that is not the one that was there ---------------------------------------------------
@pytest.mark.parametrize("lost", ["gone", "empty", "new"])
def test_a_lost_database_beside_full_folders_is_refused(folder: Path, lost: str) -> None:
    path = folder / FILE_NAME
    path.unlink()
    if lost == "empty":
        path.touch()
    if lost == "new":  # as an earlier version made it without a word
        Library(folder.parent / "other").close()
        shutil.copy(folder.parent / "other" / FILE_NAME, path)
    before = sorted(folder.rglob("*"))
    with pytest.raises(StorageError, match="folders of 2 matches lie beside it") as caught:
        Library(folder)
    assert str(path) in str(caught.value)
    assert sorted(folder.rglob("*")) == before, "nothing was made"


def test_folders_of_deleted_matches_do_not_look_like_a_loss(tmp_path: Path) -> None:
    library, match = library_with_match(tmp_path)
    with library:
        library.delete_match(match.id)
    (tmp_path / "matches" / "1").mkdir(parents=True)
    Library(tmp_path).close()


# Copies ------------------------------------------------------------------------------------------
def test_the_newest_seven_copies_stay_and_nothing_is_copied_twice(folder: Path) -> None:
    with Library(folder) as library:
        assert backups.keep_copy(library.path) is not None
        assert backups.keep_copy(library.path) is None, "nothing changed"
        for number in range(9):
            library.add_match(MatchInfo(f"match {number}"))
            assert backups.keep_copy(library.path)
    names = [copy.name for copy in backups.copies_of(folder / FILE_NAME)]
    assert names == [f"library-{number:06}.sqlite3" for number in range(10, 3, -1)]


def test_a_copy_is_due_after_a_day_and_when_the_clock_was_set_back(folder: Path) -> None:
    path = folder / FILE_NAME
    copy = backups.keep_copy(path, when_due=True)
    assert copy is not None
    damage(folder, "UPDATE match SET changed_at = added_at")
    assert backups.keep_copy(path, when_due=True) is None
    now = time.time()
    os.utime(copy, (now - 90_000, now - 90_000))
    assert backups.keep_copy(path, when_due=True) is not None
    damage(folder, "UPDATE match SET search = ''")
    os.utime(backups.copies_of(path)[0], (now + 90_000, now + 90_000))
    assert backups.keep_copy(path, when_due=True) is not None


def test_a_damaged_database_never_pushes_sound_copies_out(folder: Path) -> None:
    path = folder / FILE_NAME
    assert backups.keep_copy(path)
    data = bytearray(path.read_bytes())
    data[8192:20480] = os.urandom(12288)
    path.write_bytes(data)
    with pytest.raises(StorageError, match="is damaged"):
        backups.keep_copy(path)
    assert len(backups.copies_of(path)) == 1
    assert not [each for each in path.parent.glob("backups/*") if each.name.startswith(".")]


def test_a_copy_keeps_what_waits_beside_the_database(folder: Path) -> None:
    """Decisions lie in the write-ahead log until SQLite moves them."""
    with Library(folder) as library:
        decide(library, 1)
        copy = backups.keep_copy(library.path)
    assert copy is not None
    with closing(sqlite3.connect(copy)) as database:
        assert database.execute("SELECT count(*) FROM entry").fetchone() == (3,)


def test_the_pages_keep_a_copy_when_they_start(folder: Path) -> None:
    from posescore.web import server

    with Library(folder) as library, server._copies(library):
        assert len(backups.copies_of(library.path)) == 1


# Damaged rows ------------------------------------------------------------------------------------
ROWS = [
    ("match", "info", "x"), ("match", "info", "{}"), ("match", "added_at", "x"),
    ("match", "info", b"\xff\xfe"), ("match", "changed_at", 5), ("match", "info", "[" * 50_000),
    ("analysis", "rules", b"\xff"), ("analysis", "holds", "x"),
    ("analysis", "holds", '[{"start_s": NaN}]'), ("analysis", "clock", "x"),
    ("analysis", "end_s", float("inf")), ("analysis", "provenance", "[]"),
    ("analysis", "track_file", "../../somewhere"), ("analysis", "made_at", ""),
    ("entry", "payload", "{}"), ("entry", "payload", '{"edit": {"kind": null}, "effect": {}}'),
    ("entry", "made_at", "x"), ("entry", "analysis_version", "x"),
]  # fmt: skip


@pytest.mark.parametrize(("table", "column", "value"), ROWS)
def test_a_damaged_row_is_named_and_hides_no_other_match(
    folder: Path, table: str, column: str, value: object
) -> None:
    key = "id" if table == "match" else "match_id"
    damage(folder, f"UPDATE {table} SET {column} = ? WHERE {key} = 2", value)
    with Library(folder) as library:
        matches = {match.id: match for match in library.matches()}
        standings = library.standings(list(matches.values()))
        with pytest.raises(StorageError) as caught:
            library.review(2)
        said = str(caught.value)
        for word in ("match 2", f"table '{table}'", str(library.path), "posescore library"):
            assert word in said
        assert standings[2].trouble == said
        assert matches[1].info == INFO
        assert not standings[1].trouble
        assert library.review(1).confirmed_score[A].points >= 0
    (trouble,) = [one.what for one in check_library(folder) if f"table '{table}'" in one.what]
    assert "match 2" in trouble


def test_a_damaged_row_is_seen_though_its_standing_was_kept(folder: Path) -> None:
    with Library(folder) as library:
        assert not library.standings(library.matches())[2].trouble
    damage(folder, "UPDATE analysis SET events = 'x' WHERE match_id = 2")
    with Library(folder) as library:
        assert "table 'analysis'" in library.standings(library.matches())[2].trouble


def test_a_damaged_job_and_a_damaged_standing_stop_nothing(folder: Path) -> None:
    with Library(folder) as library:
        library.standings(library.matches())
        library.queue_job(2)
    damage(folder, "UPDATE job SET settings = 'x'")
    damage(folder, "UPDATE standing SET content = 'x'")
    with Library(folder) as library:
        (job,) = library.jobs()
        assert "table 'job'" in job.message
        assert library.jobs(open_only=True) == []
        assert not library.standings(library.matches())[2].trouble
        library.queue_job(2)


def test_the_command_names_everything_that_is_wrong(folder: Path) -> None:
    assert backups.keep_copy(folder / FILE_NAME)
    done = command("check", folder=folder)
    assert done.exit_code == 0, done.output
    assert "(outside the library) match 1: its footage is gone" in done.output
    damage(folder, "UPDATE match SET info = 'x' WHERE id = 1")
    (track,) = (folder / "matches" / "2").glob("track-*")
    track.write_bytes(b"another film's keypoints")
    (folder / "matches" / "77").mkdir()
    done = command("check", folder=folder)
    assert done.exit_code == 2
    row = "match 1: its row in the table 'match'"
    for word in (row, f"{track} is another", "77 belongs to no"):
        assert word in done.output


def test_another_matchs_track_is_never_taken_for_this_ones(folder: Path) -> None:
    with Library(folder) as library:
        (own,) = (folder / "matches" / "2").glob("track-*")
        own.write_bytes((folder / "somewhere.parquet").read_bytes())
        with pytest.raises(StorageError, match="another track than the one that belongs"):
            kept_track(library.analysis(2))
        own.unlink()
        with pytest.raises(StorageError, match="is gone"):
            kept_track(library.analysis(2))


# Put back and put right --------------------------------------------------------------------------
def test_a_copy_is_put_back_with_every_decision(folder: Path) -> None:
    assert command("backup", folder=folder).exit_code == 0
    os.truncate(folder / FILE_NAME, 0)
    done = command("restore", folder=folder)
    assert done.exit_code == 0, done.output
    assert decisions(folder) == [1, 1]
    assert list((folder / "backups").glob("before-restore-*"))
    assert command("check", folder=folder).exit_code == 0


def test_a_damaged_copy_is_passed_over(folder: Path) -> None:
    path = folder / FILE_NAME
    for number in range(2):
        damage(folder, "UPDATE match SET search = ?", str(number))
        assert backups.keep_copy(path)
    newest, older = backups.copies_of(path)
    newest.write_bytes(b"nothing of the kind")
    assert backups.newest_sound_copy(path) == older
    assert command("restore", newest, folder=folder).exit_code == 2
    assert decisions(folder) == [1, 1]


@pytest.mark.parametrize("name", ["restore", "repair"])
def test_nothing_is_put_right_under_the_hands_of_another_program(folder: Path, name: str) -> None:
    assert backups.keep_copy(folder / FILE_NAME)
    with Library(folder) as library:
        library.matches()
        done = command(name, folder=folder)
        assert done.exit_code == 2
        assert "is in use" in done.output
        decide(library, 1)


def test_repair_takes_damaged_rows_out_and_keeps_them_in_a_file(folder: Path) -> None:
    with Library(folder) as library:
        decide(library, 2)
        library.undo(2, "Ann")
    damage(folder, "UPDATE entry SET payload = 'x' WHERE id = 3")
    damage(folder, "UPDATE match SET info = 'x' WHERE id = 1")
    done = command("repair", folder=folder)
    assert done.exit_code == 0, done.output
    assert [one.what for one in check_library(folder) if one.lost] == []
    with Library(folder) as library:
        assert [entry.id for entry in library.log(2)] == [2], "what undid it went too"
        match = library.match(1)
        assert match.info.title == INFO.title.casefold()
        assert match.info.footage is not None
        assert match.info.footage.sha256 == "ab" * 32, "so its footage is recognised again"
        assert len(library.log(1)) == 1
    lines = (folder / "backups" / "taken-out.jsonl").read_text("utf-8").splitlines()
    assert len(lines) == 3


def test_repair_makes_matches_of_folders_alone(folder: Path) -> None:
    (folder / FILE_NAME).unlink()
    done = command("repair", folder=folder)
    assert done.exit_code == 0, done.output
    with Library(folder) as library:
        assert sorted(match.id for match in library.matches()) == [1, 2]
        assert np.isclose(library.review(2).clock.end_s, 10.0)
        assert library.add_match(INFO).id == 3


def test_repair_reads_what_torn_pages_left(folder: Path) -> None:
    with Library(folder) as library:
        library.keep_moment(1, (1.0, 2.0), ["Tuesday"], "hips", "Ann")
        for number in range(300):
            library.add_match(MatchInfo(f"match {number}", note="x" * 900))
    path = folder / FILE_NAME
    backups.check_alone(path)
    data = bytearray(path.read_bytes())
    middle = len(data) // 2 // 4096 * 4096
    data[middle : middle + 8192] = bytes(8192)
    path.write_bytes(data)
    with pytest.raises(StorageError, match="damaged"):
        backups.check_whole(path)
    done = command("repair", folder=folder)
    assert done.exit_code == 0, done.output
    backups.check_whole(path)
    with Library(folder) as library:
        assert len(library.matches()) > 280
        assert [len(library.log(number)) for number in (1, 2)] == [1, 1]
        assert [kept.remark for kept in library.moments("Tuesday")] == ["hips"]


@pytest.mark.parametrize(
    "change", ["sets = '[1'", "sets = '{}'", "sets = '[3]'", "made_at = 'x'", "start_s = 'x'"]
)
def test_a_damaged_moment_is_named_and_taken_out_alone(folder: Path, change: str) -> None:
    with Library(folder) as library:
        for _ in range(2):
            library.keep_moment(1, (1.0, 2.0), ["Tuesday"], "hips", "Ann")
    damage(folder, f"UPDATE moment SET {change} WHERE id = 1")
    with Library(folder) as library, pytest.raises(StorageError, match="'moment'"):
        library.moments()
    assert "'moment'" in command("check", folder=folder).output
    assert command("repair", folder=folder).exit_code == 0
    with Library(folder) as library:
        assert [kept.id for kept in library.moments()] == [2]


def test_every_table_of_what_people_said_is_salvaged() -> None:
    made_anew = {"standing"}
    assert set(salvage.KEPT_TABLES) == {table.name for table in TABLES} - made_anew


def test_a_missing_library_is_a_sentence(tmp_path: Path) -> None:
    for name in ("check", "repair"):
        done = command(name, folder=tmp_path)
        assert done.exit_code == 2
        assert "holds no library" in done.output
    done = command("restore", folder=tmp_path)
    assert done.exit_code == 2
    assert list(tmp_path.iterdir()) == []


@pytest.fixture(autouse=True)
def _by_name(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("POSESCORE_LIBRARY", raising=False)


def test_an_empty_name_makes_no_library_here(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    done = CliRunner().invoke(main, ["athlete", "Ann", "--library", ""])
    assert done.exit_code == 2
    assert "names no folder" in done.output
    assert list(tmp_path.iterdir()) == []
