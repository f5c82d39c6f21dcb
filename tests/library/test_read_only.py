"""A library that can only be looked at: on a disc, on somebody else's share, or by wish."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from posescore.errors import StorageError
from posescore.library.library import Library
from posescore.library.review.edits import Confirm
from posescore.library.store.copies import LOOKED_EVERY_S
from tests.library.samples import INFO, analysis


def filled(folder: Path) -> str:
    """A match with one decision; gives the key of another line."""
    with Library(folder) as library:
        match = library.add_match(INFO)
        library.save_analysis(match.id, analysis())
        first, second = [item.key for item in library.review(match.id).items][:2]
        library.edit(match.id, Confirm(first), "Ann")
        return second


def test_it_opens_says_so_and_refuses_edits(tmp_path: Path) -> None:
    key = filled(tmp_path / "library")
    before = {path: path.read_bytes() for path in (tmp_path / "library").glob("*.sqlite3*")}
    with Library(tmp_path / "library", read_only=True) as library:
        assert "can only be looked at" in library.read_only
        assert library.review(1).items[0].decision is not None
        with pytest.raises(StorageError, match="can only be looked at"):
            library.edit(1, Confirm(key), "Ann")
        with pytest.raises(StorageError, match="can only be looked at"):
            library.delete_match(1)
        assert len(library.log(1)) == 1
    after = {path: path.read_bytes() for path in (tmp_path / "library").glob("*.sqlite3*")}
    assert after == before


def test_what_was_not_worked_into_the_file_yet_shows_too(tmp_path: Path) -> None:
    key = filled(tmp_path / "library")
    with Library(tmp_path / "library") as writing:  # its log lies beside the file
        writing.edit(1, Confirm(key), "Ben")
        with Library(tmp_path / "library", read_only=True) as library:
            assert len(library.log(1)) == 2


ASKED = """
import os, sys
from pathlib import Path
from posescore.library.library import Library

def seen(folder):
    with Library(Path(folder)) as library:
        return f"{len(library.review(1).items)} {library.read_only}"

seen(sys.argv[1])  # whatever is imported late is in memory before the rights are gone
if os.geteuid() == 0:
    os.setgroups([])
    os.setuid(65534)
print(seen(sys.argv[2]))
"""


def test_a_folder_without_the_right_to_write_opens_by_itself() -> None:
    with tempfile.TemporaryDirectory() as place:
        Path(place).chmod(0o755)
        folder = Path(place) / "library"
        filled(folder)
        before = shutil.copytree(folder, Path(place) / "before")
        for path in (folder, *folder.rglob("*")):
            path.chmod(0o555 if path.is_dir() else 0o444)
        command = [sys.executable, "-c", ASKED, str(before), str(folder)]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        for path in (folder, *folder.rglob("*")):
            path.chmod(0o755 if path.is_dir() else 0o644)
    assert done.returncode == 0, done.stderr
    assert "can only be looked at" in done.stdout


def test_an_empty_folder_is_still_made(tmp_path: Path) -> None:
    with Library(tmp_path / "new") as library:
        assert library.read_only == ""


def test_what_others_write_shows_without_opening_again(tmp_path: Path) -> None:
    key = filled(tmp_path / "library")
    with Library(tmp_path / "library", read_only=True) as library:
        assert len(library.log(1)) == 1
        with Library(tmp_path / "library") as writing:
            writing.edit(1, Confirm(key), "Ben")
            wait_for(lambda: len(library.log(1)) == 2)
            writing.undo(1, "Ben")
            wait_for(lambda: library.review(1).last_entry_id == 3)
        wait_for(lambda: library.review(1).next_redo is not None)
        with pytest.raises(StorageError, match="can only be looked at"):
            library.edit(1, Confirm(key), "Ann")


def wait_for(done: Callable[[], bool]) -> None:
    give_up_s = time.monotonic() + 6 * LOOKED_EVERY_S
    while not done():
        assert time.monotonic() < give_up_s
        time.sleep(LOOKED_EVERY_S / 5)
