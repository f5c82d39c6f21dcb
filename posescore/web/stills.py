"""Both athletes in single frames, with skeletons on them, for the evidence beside a proposal."""

from __future__ import annotations

from collections import OrderedDict
from threading import Lock
from typing import TYPE_CHECKING, Final

from posescore.library.library import Library

if TYPE_CHECKING:
    from posescore.export.shots import Shots

STILL_WIDTH_PX: Final = 480
"""Sharp at a third of the side of the page on a screen of double density."""
_MATCHES_KEPT: Final = 2
_STILLS_KEPT: Final = 200
"""About 6 MB: every still of one match, so that going back and forth costs nothing."""

_Source = tuple[int, int, tuple[object, ...], bool]


class Stills:
    """Takes stills and keeps the last ones. Safe from several threads."""

    def __init__(self, library: Library) -> None:
        self._library = library
        self._shots: OrderedDict[_Source, Shots] = OrderedDict()
        self._jpegs: OrderedDict[tuple[_Source, int], bytes] = OrderedDict()
        self._lock = Lock()

    def jpeg(self, match_id: int, frame_index: int, opinion: str, skeletons: bool) -> bytes:
        """One frame as JPEG, with the athletes as that opinion has them.

        Raises
        ------
        NotFoundError
            When the match or its footage is not there.
        FootageError
            When the footage has no such frame.
        """
        review = self._library.review(match_id, opinion)
        source = (match_id, review.analysis_version, review.swaps, skeletons)
        # One decoder at a time: a page asks for three stills at once, and other requests go first.
        with self._lock:
            known = self._jpegs.get((source, frame_index))
            if known is None:
                shots = self._shots_of(source, opinion)
                known = shots.close_up(frame_index, STILL_WIDTH_PX)
                self._jpegs[source, frame_index] = known
            self._jpegs.move_to_end((source, frame_index))
            while len(self._jpegs) > _STILLS_KEPT:
                self._jpegs.popitem(last=False)
        return known

    def _shots_of(self, source: _Source, opinion: str) -> Shots:
        from posescore.export.shots import Showing, shots_of

        if source not in self._shots:
            match_id, _, _, skeletons = source
            match, review = self._library.match(match_id), self._library.review(match_id, opinion)
            showing = Showing(skeletons=skeletons)
            self._shots[source] = shots_of(self._library, match, review, showing, quick=True)
        self._shots.move_to_end(source)
        while len(self._shots) > _MATCHES_KEPT:
            self._shots.popitem(last=False)
        return self._shots[source]
