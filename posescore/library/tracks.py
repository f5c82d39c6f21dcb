"""The keypoints kept with an analysis: read only where they are the ones that belong to it."""

from __future__ import annotations

from posescore.errors import StorageError
from posescore.library.analysis import Analysis
from posescore.library.store.files import sha256_of
from posescore.library.store.storage import sentences
from posescore.pose.track import PairTrack
from posescore.pose.track_file import read_track


def kept_track(analysis: Analysis) -> PairTrack | None:
    """The track of an analysis; None where it came without.

    Raises
    ------
    StorageError
        When the file is gone, or is another than when it was kept.
    KeypointFileError
        When it is no track that can be read.
    """
    path = analysis.track_path
    if path is None:
        return None
    if not path.is_file():
        raise StorageError(f"{path} is gone: put it back, or analyse the match again.")
    with sentences(path):
        same = analysis.track_sha256 in ("", sha256_of(path))
    if not same:
        raise StorageError(
            f"{path} is another track than the one that belongs to this match: put the right one "
            "back, or analyse the match again."
        )
    return read_track(path)
