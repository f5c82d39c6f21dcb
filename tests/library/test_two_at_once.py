"""Killed programs, two processes, several threads: every acknowledged edit is there."""

from __future__ import annotations

import multiprocessing
import signal
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from posescore.errors import ConflictError
from posescore.library.library import Library
from posescore.library.match import Match
from posescore.library.review.edits import AddAward, Confirm, RemoveHold, Split
from posescore.library.review.stretches import hold_key
from posescore.scoring.proposal import ProposalKind
from tests.library import crashing
from tests.library.samples import HOLDS, INFO, A, library_with_match

Kept = tuple[Library, Match]


def editor(folder: Path, match_id: int, author: str) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", crashing.__name__, str(folder), str(match_id), author]
    return subprocess.Popen(
        command, stdout=subprocess.PIPE, text=True, cwd=Path(__file__).parents[2]
    )


def killed_after(child: subprocess.Popen[str], edits: int) -> list[tuple[int, int]]:
    """Kill a child in the middle of its edits; what it acknowledged (entry, number)."""
    assert child.stdout is not None
    lines = [child.stdout.readline() for _ in range(edits)]
    time.sleep(0.004 * edits)
    child.send_signal(signal.SIGKILL)
    rest, _ = child.communicate(timeout=30)
    lines += rest.splitlines(keepends=True)
    whole = [line.split() for line in lines if line.endswith("\n")]
    assert child.returncode == -signal.SIGKILL
    return [(int(entry), int(number)) for entry, number in whole]


def test_every_acknowledged_edit_survives_a_kill(tmp_path: Path) -> None:
    library, match = library_with_match(tmp_path)
    library.close()
    acknowledged: dict[int, int] = {}
    for edits in (1, 3, 8):
        acknowledged |= dict(killed_after(editor(tmp_path, match.id, "Ann"), edits))
        with Library(tmp_path) as again:
            log = {entry.id: entry.edit for entry in again.log(match.id)}
            for entry_id, number in acknowledged.items():
                edit = log[entry_id]
                assert isinstance(edit, AddAward)
                assert edit.reason == f"edit {number}"
            assert len(again.review(match.id).entries) == len(log)
    assert len(acknowledged) >= 12


def test_two_processes_write_one_log(tmp_path: Path) -> None:
    library, match = library_with_match(tmp_path)
    with library:
        children = [editor(tmp_path, match.id, author) for author in ("Ann", "Ben")]
        said = [killed_after(child, 6) for child in children]
        ids = [entry_id for each in said for entry_id, _ in each]
        assert len(ids) == len(set(ids))
        review = library.review(match.id)
        assert set(ids) <= {entry.id for entry in review.entries}
        assert {entry.author for entry in review.entries} == {"Ann", "Ben"}


def opened_by_another(folder: Path) -> int:
    with Library(folder) as library:
        return library.add_match(INFO).id


def test_programs_that_open_a_new_library_at_once_do_not_trip_each_other(tmp_path: Path) -> None:
    with multiprocessing.get_context("spawn").Pool(4) as pool:
        for number in range(4):
            folders = [tmp_path / f"library {number}"] * 4
            assert sorted(pool.map(opened_by_another, folders, chunksize=1)) == [1, 2, 3, 4]


def test_two_connections_see_each_other_and_the_slower_edit_is_refused(kept: Kept) -> None:
    library, match = kept
    with Library(library.folder) as other:
        key = hold_key(HOLDS[4])
        mine = library.edit(match.id, Split(key, 31.0), "Ann")
        assert other.review(match.id).holds == mine.holds
        with pytest.raises(ConflictError, match="no longer there"):
            other.edit(match.id, RemoveHold(key), "Ben")
        theirs = other.edit(match.id, RemoveHold(hold_key(HOLDS[0])), "Ben")
        assert library.review(match.id).holds == theirs.holds
        assert library.undo(match.id, "Ben").last_entry_id == other.review(match.id).last_entry_id
        item = library.review(match.id).undecided[0].key
        other.edit(match.id, Confirm(item), "Ben")
        with pytest.raises(ConflictError, match="Ben"):
            library.edit(match.id, Confirm(item), "Ann")


def test_threads_share_one_library(kept: Kept) -> None:
    library, match = kept

    def work(number: int) -> int:
        edit = AddAward(A, ProposalKind.TAKEDOWN, float(number), 2)
        return library.edit(match.id, edit, f"thread {number}").last_entry_id

    with ThreadPoolExecutor(8) as pool:
        ids = list(pool.map(work, range(40)))
    assert len(set(ids)) == 40
    review = library.review(match.id)
    assert len([item for item in review.items if item.added]) == 40
    assert review.confirmed_score[A].points == 80
