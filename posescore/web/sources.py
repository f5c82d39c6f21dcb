"""Everything a page needs of a match besides its review: footage, keypoints, values, saved logs."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping
from pathlib import Path
from threading import Lock
from typing import Final

from posescore.errors import NotFoundError
from posescore.library.analysis import Analysis
from posescore.library.match import Match
from posescore.pose.track import PairTrack
from posescore.pose.track_file import read_track
from posescore.scoring.proposal import ProposalKind
from posescore.scoring.rules import RuleSet

_TRACKS_KEPT: Final = 2
"""Decoded tracks held in memory: the match on the page and one more (9 MB for ten minutes)."""


def footage_of(match: Match) -> Path:
    """The file that a browser can play: the copy made for it where there is one, else the original.

    Raises
    ------
    NotFoundError
        When neither is there any more.
    """
    if match.proxy_path.is_file():
        return match.proxy_path
    original = Path(match.info.footage.path) if match.info.footage else None
    if original is None:
        raise NotFoundError(f"match {match.id} was added without footage.")
    if not original.is_file():
        raise NotFoundError(f"{original}: the footage is gone; put it back and reload the page.")
    return original


class Tracks:
    """Reads tracks and keeps the last few decoded. Safe from several threads."""

    def __init__(self) -> None:
        self._kept: OrderedDict[tuple[Path, str], PairTrack] = OrderedDict()
        self._lock = Lock()

    def of(self, analysis: Analysis) -> PairTrack | None:
        """The track of an analysis; None where it came without."""
        if analysis.track_path is None:
            return None
        key = (analysis.track_path, analysis.track_sha256)
        with self._lock:
            if key not in self._kept:
                self._kept[key] = read_track(analysis.track_path)
            self._kept.move_to_end(key)
            while len(self._kept) > _TRACKS_KEPT:
                self._kept.popitem(last=False)
            return self._kept[key]


def values_of(rules: RuleSet) -> dict[ProposalKind, int]:
    """Points of every kind, for the windows in which a person awards them."""
    return dict(rules.points)


def match_time_of(rules: RuleSet, division: Mapping[str, str] | None) -> float | None:
    """Seconds that a match of that division lasts; None where nobody said the division."""
    if not division or "age" not in division:
        return None
    times = rules.match_times
    return times.match_s(times.division(division["age"], division.get("belt")))
