"""Who analyses a match: one living program at a time, and nobody after a crash."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from posescore.errors import ConflictError
from posescore.library.library import Library
from posescore.library.match import MatchInfo
from posescore.library.store.claims import claimed, is_claimed

HOLDER = """
import sys, time
from pathlib import Path
from posescore.library.store.claims import claimed
with claimed(Path(sys.argv[1]), 7):
    print("held", flush=True)
    time.sleep(60)
"""


def test_a_claim_is_given_back(tmp_path: Path) -> None:
    assert not is_claimed(tmp_path, 7)
    with claimed(tmp_path, 7):
        assert is_claimed(tmp_path, 7)
        assert not is_claimed(tmp_path, 8)
    assert not is_claimed(tmp_path, 7)


def test_the_lock_goes_with_its_match(tmp_path: Path) -> None:
    with Library(tmp_path) as library:
        match = library.add_match(MatchInfo("x"))
        with library.claim(match.id):
            assert library.is_claimed(match.id)
        library.delete_match(match.id)
        assert not list((tmp_path / "jobs").iterdir())
        library.delete_match(library.add_match(MatchInfo("never claimed")).id)


def test_two_programs_never_hold_one_match_and_a_crash_lets_go(tmp_path: Path) -> None:
    command = [sys.executable, "-c", HOLDER, str(tmp_path)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "held\n"
        assert is_claimed(tmp_path, 7)
        with pytest.raises(ConflictError, match="match 7"), claimed(tmp_path, 7):
            pass
        holder.kill()
        holder.wait()
    assert not is_claimed(tmp_path, 7)
    with claimed(tmp_path, 7):
        pass
