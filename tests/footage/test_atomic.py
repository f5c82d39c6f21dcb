"""Files are written wholly or not at all, and keep what the person said of them."""

from __future__ import annotations

import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from posescore.errors import StorageError
from posescore.footage.atomic import check_writable, replacing, write_whole

POSIX = pytest.mark.skipif(os.name != "posix", reason="permissions of POSIX")


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


def test_a_failure_leaves_the_old_file_alone(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    write_whole(path, b"old")

    def fail() -> None:
        with replacing(path) as unfinished:
            unfinished.write_bytes(b"half")
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        fail()
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]


def test_a_file_may_be_named_by_its_contents(tmp_path: Path) -> None:
    with replacing(tmp_path / "x.txt", lambda part: f"{len(part.read_bytes())}.txt") as part:
        part.write_bytes(b"12345")
    assert [path.name for path in tmp_path.iterdir()] == ["5.txt"]


@POSIX
def test_permissions_stay_and_the_umask_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    before = os.umask(0o077)
    try:
        write_whole(path, b"new")
        assert mode(path) == 0o600
        path.chmod(0o640)
        write_whole(path, b"newer")
    finally:
        os.umask(before)
    assert mode(path) == 0o640
    assert path.read_bytes() == b"newer"


@POSIX
def test_a_link_stays_a_link(tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    target = tmp_path / "elsewhere" / "log.csv"
    target.write_bytes(b"old")
    link = tmp_path / "log.csv"
    link.symlink_to(target)
    write_whole(link, b"new")
    assert link.is_symlink()
    assert target.read_bytes() == b"new"


@POSIX
def test_devices_and_pipes_are_written_into(tmp_path: Path) -> None:
    before = Path("/dev/null").stat().st_rdev
    check_writable(Path("/dev/null"))
    write_whole(Path("/dev/null"), b"gone")
    assert stat.S_ISCHR(Path("/dev/null").stat().st_mode)
    assert Path("/dev/null").stat().st_rdev == before
    code = (
        "from pathlib import Path; from posescore.footage.atomic import write_whole;"
        "write_whole(Path('/dev/stdout'), b'out')"
    )
    command = [sys.executable, "-c", code]
    assert subprocess.run(command, capture_output=True, check=True).stdout == b"out"
    with (tmp_path / "out.txt").open("wb") as file:
        subprocess.run(command, stdout=file, check=True)
    assert (tmp_path / "out.txt").read_bytes() == b"out"


def test_a_place_that_cannot_be_written_is_a_sentence(tmp_path: Path) -> None:
    for path, why in ((tmp_path, "is a folder"), (tmp_path / "no" / "x.csv", "does not exist")):
        with pytest.raises(StorageError, match=why):
            check_writable(path)
        with pytest.raises(StorageError, match=why):
            write_whole(path, b"x")
