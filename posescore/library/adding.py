"""Footage on its way into the library: found in folders, sent piece by piece, recognised."""

from __future__ import annotations

import os
import re
import secrets
import shutil
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import IO, Final

from posescore.errors import FootageError, InputError, NotFoundError, StorageError
from posescore.footage.reading import Footage as Video
from posescore.library.library import Library
from posescore.library.match import Footage, Match, MatchInfo
from posescore.library.store.storage import sentences
from posescore.reading import shown

_SUFFIXES: Final = "mp4 m4v mov mkv webm avi mts m2ts mpg mpeg 3gp wmv"
VIDEO_SUFFIXES: Final = frozenset(f".{name}" for name in _SUFFIXES.split())
"""What is taken for a video by its name; whether it is one shows when it is opened."""

LONGEST_TITLE: Final = 200
"""Letters of a title; a file's name can be longer."""
FREE_BYTES: Final = 512 * 2**20
"""Room that stays free on the disk beside copied footage, for what the analysis makes."""
MOST_FOUND: Final = 500
DEEPEST: Final = 4
_FORGOTTEN_S: Final = 86_400.0
"""A file that was sent and not added to any match within a day is thrown away."""
_LONGEST_NAME_BYTES: Final = 180
_NOT_IN_NAMES: Final = re.compile(r'[\x00-\x1f\x7f<>:"/\\|?*]')


@dataclass(frozen=True, slots=True)
class Found:
    """A video in a folder; ``match_id`` is the match that it already belongs to."""

    path: Path
    size_bytes: int
    match_id: int | None


@dataclass(frozen=True, slots=True)
class Added:
    """The match of a footage, and whether the library knew that footage before."""

    match: Match
    known: bool


def check_video_name(name: str) -> None:
    """Refuse what is no video by its name.

    Raises
    ------
    FootageError
        One sentence.
    """
    if Path(name).suffix.lower() not in VIDEO_SUFFIXES:
        raise FootageError(
            f"{name or 'the file'} is not a video by its name: give an MP4, MOV, MKV, WebM or AVI "
            "file."
        )


def title_of(file_name: str) -> str:
    """Title of a match that nobody gave one."""
    return Path(file_name).stem.replace("_", " ").strip()[:LONGEST_TITLE].strip() or "Match"


def videos_in(library: Library, text: str) -> tuple[list[Found], bool]:
    """Videos that a path names: the file itself, or all in a folder and the folders below.

    Returns what was found, by path, and whether there was more than :data:`MOST_FOUND`.

    Raises
    ------
    InputError
        When the path is not a whole one, does not exist, may not be read or holds no video.
    """
    path = whole_path(text)
    try:
        path.stat()
    except FileNotFoundError:
        raise InputError(f"{path} does not exist: check the path.") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "no path"
        raise InputError(f"{shown(str(path))} cannot be looked at ({reason}).") from error
    known = {match.info.footage.path: match.id for match in library.matches() if match.info.footage}
    if not path.is_dir():
        check_video_name(path.name)
        paths = [path]
    else:
        paths = sorted(_walk(path))
    found = [
        Found(each, each.stat().st_size, known.get(str(each.resolve())))
        for each in paths[:MOST_FOUND]
    ]
    if not found:
        raise InputError(f"{path} holds no video (MP4, MOV, MKV, WebM or AVI).")
    return found, len(paths) > MOST_FOUND


def whole_path(text: str) -> Path:
    """The path that a person wrote or pasted.

    Raises
    ------
    InputError
        When it is not a whole one: where the program was started is nobody's business.
    """
    bare = text.strip().strip("\"'").removeprefix("file://")
    if not bare or "\0" in bare:
        raise InputError("path: write the whole path of a folder or a file on this computer.")
    try:
        path = Path(bare).expanduser()
    except RuntimeError:  # ~somebody, who is nobody here
        path = Path(bare)
    if not path.is_absolute():
        raise InputError(f"{bare}: write the whole path, from the root of the disk or from ~.")
    return path


def _walk(folder: Path) -> Iterator[Path]:
    def refuse(error: OSError) -> None:
        if error.filename == str(folder):
            raise InputError(f"{folder} may not be read: change its permissions.") from error

    for place, below, names in os.walk(folder, onerror=refuse):
        depth = len(Path(place).relative_to(folder).parts)
        below[:] = [] if depth >= DEEPEST else sorted(n for n in below if not n.startswith("."))
        for name in names:
            path = Path(place, name)
            if (
                not name.startswith(".")
                and path.suffix.lower() in VIDEO_SUFFIXES
                and path.is_file()
            ):
                yield path


def add_footage(library: Library, video: Path | Video, info: MatchInfo) -> Added:
    """Add a match of a video, or give the match that the library already has of it.

    The video stays where it is. Where the library's match names a file that is no longer there,
    it is told of this one.

    Parameters
    ----------
    library
        Where the match goes.
    video
        The footage, opened or by its path.
    info
        What is said of the match; its ``footage`` is replaced.

    Raises
    ------
    InputError, FootageError, StorageError
        One sentence; nothing was added.
    """
    return _add(library, _record_of(video if isinstance(video, Video) else Video(video)), info)


def _record_of(video: Video) -> Footage:
    if len(video.clock()) < 2:
        raise FootageError(f"{video.path} holds a single frame: give the video of a match.")
    return Footage(
        path=str(video.path.resolve()),
        sha256=video.sha256,
        size_bytes=video.path.stat().st_size,
        duration_s=video.clock().end_s,
    )


def _add(library: Library, record: Footage, info: MatchInfo) -> Added:
    known = library.match_of_footage(record.sha256)
    if known is None:
        return Added(library.add_match(replace(info, footage=record)), known=False)
    if not _is_there(known):
        known = library.update_match(known.id, replace(known.info, footage=record))
    return Added(known, known=True)


def _is_there(match: Match) -> bool:
    return match.info.footage is not None and Path(match.info.footage.path).is_file()


def is_copy(library: Library, match: Match) -> bool:
    """True where the footage was copied into the library, and goes with the match."""
    footage = match.info.footage
    return footage is not None and library.copies_of(footage.sha256) in Path(footage.path).parents


class Arrivals:
    """Files that are sent to the library, before they belong to a match.

    Each lies in a folder of its own under ``incoming``; nothing is held in memory.
    """

    def __init__(self, library: Library) -> None:
        self._library = library
        self._folder = library.folder / "incoming"
        self._announced: dict[str, int] = {}
        if not library.read_only:
            self._sweep()

    def _sweep(self) -> None:
        """Remove what was sent long ago, or copied in, and never came to belong to a match."""
        oldest = time.time() - _FORGOTTEN_S
        copies = self._library.copies_of("any").parent
        for left in (*self._folder.glob("*"), *copies.glob("*")):
            owned = left.parent == copies and self._library.match_of_footage(left.name)
            if not owned and left.stat().st_mtime < oldest:
                shutil.rmtree(left, ignore_errors=True)

    def announce(self, name: str, size_bytes: int) -> str:
        """Name and size of a file that is to come; the key to send it under.

        Raises
        ------
        FootageError, StorageError
            When it is no video by its name, is empty, or there is no room for it.
        """
        if self._library.read_only:
            raise StorageError(self._library.read_only)
        check_video_name(name)
        if size_bytes <= 0:
            raise FootageError(f"{name} is empty: copy it again from the camera.")
        key = secrets.token_hex(8)
        with sentences(self._folder):
            place = self._folder / key
            place.mkdir(parents=True)
            free = shutil.disk_usage(place).free
        if free < size_bytes + FREE_BYTES:
            self.forget(key)
            raise StorageError(
                f"{name} needs {_gigabytes(size_bytes)} and the disk has {_gigabytes(free)} left: "
                "free some space, or name the file's folder instead, so that nothing is copied."
            )
        (place / _safe_name(name)).touch()
        self._announced[key] = size_bytes
        return key

    def open_to_write(self, key: str) -> IO[bytes]:
        """The announced file, empty, to be written."""
        return self.path(key).open("wb")

    def check_size(self, key: str, size_bytes: int) -> None:
        """Refuse more than was announced; InputError says so."""
        if size_bytes > self._announced.get(key, size_bytes):
            raise InputError("The file is larger than was announced: send it again.")

    def path(self, key: str) -> Path:
        """Where the file of a key lies; NotFoundError where there is none."""
        place = self._folder / key
        files = list(place.glob("*")) if re.fullmatch("[0-9a-f]{16}", key) else []
        if not files:
            raise NotFoundError("That file is not here any more: choose it again.")
        return files[0]

    def forget(self, key: str) -> None:
        """Throw a file away."""
        self._announced.pop(key, None)
        if re.fullmatch("[0-9a-f]{16}", key):
            shutil.rmtree(self._folder / key, ignore_errors=True)

    def add(self, key: str, info: MatchInfo) -> Added:
        """Make a match of a file that has come; it goes among the library's own footage.

        Footage that the library knows, and has, is thrown away again.
        """
        path = self.path(key)
        record = self._named_by_sender(path)
        known = self._library.match_of_footage(record.sha256)
        if known is None or not _is_there(known):
            record = self._settled(path, record)
        added = _add(self._library, record, info)
        self.forget(key)
        return added

    def _settled(self, path: Path, record: Footage) -> Footage:
        """Give the file its lasting place; what no match comes to own is swept away later."""
        kept = self._library.copies_of(record.sha256) / path.name
        with sentences(kept):
            kept.parent.mkdir(parents=True, exist_ok=True)
            path.replace(kept)
        return replace(record, path=str(kept.resolve()))

    def _named_by_sender(self, path: Path) -> Footage:
        try:
            return _record_of(Video(path))
        except FootageError as error:
            self.forget(path.parent.name)
            raise FootageError(str(error).replace(str(path), path.name)) from error


def _safe_name(name: str) -> str:
    """The file's own name, without what some disk would refuse."""
    whole = Path("x" + _NOT_IN_NAMES.sub("_", name))  # a leading dot is no suffix
    stem = whole.stem[1:].encode("utf-8", "replace")[:_LONGEST_NAME_BYTES].decode("utf-8", "ignore")
    return f"{stem.strip(' .') or 'footage'}{whole.suffix}"


def _gigabytes(size_bytes: int) -> str:
    return f"{size_bytes / 1e9:.1f} GB"
