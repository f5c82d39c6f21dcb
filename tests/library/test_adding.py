"""Footage on its way in: found in folders, sent in pieces, recognised, never lost."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from posescore.errors import FootageError, InputError, NotFoundError, StorageError
from posescore.footage.clock import FrameClock
from posescore.library import adding
from posescore.library.adding import Arrivals, add_footage, is_copy, title_of, videos_in
from posescore.library.library import Library
from posescore.library.match import MatchInfo
from tests.web.small_match import write_clip

INFO = MatchInfo("Quarter final")


@pytest.fixture(scope="session")
def clip(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("clip") / "first_round.mp4"
    write_clip(path, FrameClock.steady(6, 10.0))
    return path


@pytest.fixture
def library(tmp_path: Path) -> Library:
    return Library(tmp_path / "library")


def send(library: Library, name: str, content: bytes) -> str:
    arrivals = Arrivals(library)
    key = arrivals.announce(name, len(content))
    with arrivals.open_to_write(key) as file:
        file.write(content)
    return key


def test_a_path_is_read_in_place(library: Library, clip: Path) -> None:
    added = add_footage(library, clip, INFO)
    assert not added.known
    footage = added.match.info.footage
    assert footage is not None
    assert Path(footage.path) == clip
    assert footage.duration_s == pytest.approx(0.6, abs=0.1)
    assert footage.size_bytes == clip.stat().st_size
    assert not is_copy(library, added.match)
    library.delete_match(added.match.id)
    assert clip.exists(), "a person's own footage stays"


def test_footage_that_is_known_keeps_its_match(library: Library, clip: Path) -> None:
    first = add_footage(library, clip, INFO).match
    again = add_footage(library, clip, MatchInfo("Another title"))
    assert again.known
    assert again.match == first
    assert len(library.matches()) == 1


def test_footage_that_was_moved_is_found_again(
    library: Library, clip: Path, tmp_path: Path
) -> None:
    before = tmp_path / "before.mp4"
    before.write_bytes(clip.read_bytes())
    match = add_footage(library, before, INFO).match
    after = before.rename(tmp_path / "after.mp4")
    found = add_footage(library, after, MatchInfo("ignored"))
    assert found.known
    assert found.match.id == match.id
    assert found.match.info.title == INFO.title
    assert found.match.info.footage is not None
    assert Path(found.match.info.footage.path) == after


def test_what_is_sent_becomes_the_librarys_own_and_goes_with_the_match(
    library: Library, clip: Path
) -> None:
    match = Arrivals(library).add(send(library, "semi final.mp4", clip.read_bytes()), INFO).match
    assert match.info.footage is not None
    path = Path(match.info.footage.path)
    assert path.name == "semi final.mp4"
    assert path.read_bytes() == clip.read_bytes()
    assert is_copy(library, match)
    assert list((library.folder / "incoming").iterdir()) == []
    library.delete_match(match.id)
    assert not path.exists()
    assert not path.parent.exists()


def test_what_is_sent_and_known_is_not_kept_twice(library: Library, clip: Path) -> None:
    match = add_footage(library, clip, INFO).match
    added = Arrivals(library).add(send(library, "same.mp4", clip.read_bytes()), INFO)
    assert added.known
    assert added.match == match
    assert not list((library.folder / "footage").glob("*/*"))
    assert list((library.folder / "incoming").iterdir()) == []


def test_sending_it_again_brings_back_footage_that_is_gone(
    library: Library, clip: Path, tmp_path: Path
) -> None:
    lost = tmp_path / "lost.mp4"
    lost.write_bytes(clip.read_bytes())
    match = add_footage(library, lost, INFO).match
    lost.unlink()
    added = Arrivals(library).add(send(library, "again.mp4", clip.read_bytes()), INFO)
    assert added.known
    assert added.match.id == match.id
    assert is_copy(library, added.match)
    assert added.match.info.footage is not None
    assert Path(added.match.info.footage.path).read_bytes() == clip.read_bytes()


def test_what_is_sent_and_no_video_is_named_as_its_sender_does(library: Library) -> None:
    key = send(library, "holiday.mp4", b"not a video" * 99)
    with pytest.raises(FootageError, match=r"^holiday\.mp4 is not a video") as refused:
        Arrivals(library).add(key, INFO)
    assert str(library.folder) not in str(refused.value)
    assert library.matches() == []
    assert list((library.folder / "incoming").iterdir()) == []
    with pytest.raises(NotFoundError):
        Arrivals(library).path(key)


@pytest.mark.parametrize(
    ("name", "size", "says"),
    [("notes.txt", 5, "not a video by its name"), ("", 5, "the file"), ("a.mp4", 0, "empty")],
)
def test_what_cannot_be_taken_is_said_before_it_is_sent(
    library: Library, name: str, size: int, says: str
) -> None:
    with pytest.raises(FootageError, match=says):
        Arrivals(library).announce(name, size)


def test_a_file_too_large_for_the_disk_is_refused_before_it_is_sent(library: Library) -> None:
    with pytest.raises(StorageError, match=r"big\.mp4 needs 1000000\.0 GB"):
        Arrivals(library).announce("big.mp4", 10**15)
    assert list((library.folder / "incoming").iterdir()) == []


@pytest.mark.parametrize("key", ["", "..", "../matches", "0" * 16, "x" * 16, "0" * 15 + "/"])
def test_a_key_that_nobody_was_given(library: Library, key: str) -> None:
    (library.folder / "matches").mkdir()
    arrivals = Arrivals(library)
    with pytest.raises(NotFoundError):
        arrivals.path(key)
    arrivals.forget(key)
    assert (library.folder / "matches").is_dir()


def test_what_nobody_added_is_swept_away_after_a_day(library: Library, clip: Path) -> None:
    content = clip.read_bytes()
    owned = Arrivals(library).add(send(library, "kept.mp4", content), INFO).match
    key, fresh = send(library, "old.mp4", content), send(library, "new.mp4", content)
    orphan = library.copies_of("ab" * 32)
    orphan.mkdir(parents=True)
    two_days_ago = time.time() - 2 * 86_400
    assert owned.info.footage is not None
    for place in (library.folder / "incoming" / key, orphan, Path(owned.info.footage.path).parent):
        os.utime(place, (two_days_ago, two_days_ago))
    arrivals = Arrivals(library)
    assert arrivals.path(fresh).name == "new.mp4"
    with pytest.raises(NotFoundError):
        arrivals.path(key)
    assert not orphan.exists()
    assert Path(owned.info.footage.path).exists()


def test_folders_are_looked_through(library: Library, clip: Path, tmp_path: Path) -> None:
    films = tmp_path / "films"
    deep = films.joinpath("a", "b", "c", "d", "too_deep")
    deep.mkdir(parents=True)
    (films / ".trash").mkdir()
    for place in (
        films / "B.MOV", films / "a.mp4", films / "a" / "c.mkv", films / "notes.txt",
        films / ".hidden.mp4", films / ".trash" / "t.mp4", deep / "x.mp4", deep.parent / "y.avi",
    ):  # fmt: skip
        place.write_bytes(clip.read_bytes())
    match = add_footage(library, films / "a.mp4", INFO).match
    found, more = videos_in(library, f'  "{films}" ')
    assert [str(one.path.relative_to(films)) for one in found] == [
        "B.MOV", "a/b/c/d/y.avi", "a/c.mkv", "a.mp4",
    ]  # fmt: skip
    assert [one.match_id for one in found] == [None, None, None, match.id]
    assert not more
    (alone,), _ = videos_in(library, f"file://{films / 'B.MOV'}")
    assert alone.size_bytes == clip.stat().st_size


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "whole path"),
        ("films", "whole path"),
        ("../films", "whole path"),
        ("/no/such/folder", "does not exist"),
        ("/etc/hostname", "not a video by its name"),
        ("~nobody-of-that-name/films", "whole path"),
        ("/tmp/\0", "whole path"),
    ],
)
def test_a_path_that_leads_nowhere_is_one_sentence(library: Library, text: str, says: str) -> None:
    with pytest.raises(InputError, match=says):
        videos_in(library, text)


def test_an_empty_folder_says_so(library: Library, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="holds no video"):
        videos_in(library, str(tmp_path / "library"))


@given(st.text(max_size=300))
def test_names_of_files_are_made_harmless(name: str) -> None:
    safe = adding._safe_name(f"{name}.mp4")
    assert safe.endswith(".mp4")
    assert Path(safe).name == safe
    assert not safe.startswith(".")
    assert len(safe.encode("utf-8", "surrogatepass")) < 250
    assert adding._safe_name(safe) == safe


@given(st.text(max_size=60))
def test_every_file_name_gives_a_title(name: str) -> None:
    MatchInfo(title_of(name))
