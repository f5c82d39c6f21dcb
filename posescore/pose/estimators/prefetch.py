"""Two frames read at a time: this one here, the next one in a thread of its own.

Where the next frame is to be searched is known only when this one has been read. Most often it is
where this one was searched, for a place is kept while the pair stays inside it
(:func:`settled_box`): so the next frame is asked about there meanwhile, and the answer is thrown
away where the pair has moved. No answer depends on which thread gave it.
"""

from __future__ import annotations

import contextlib
from collections.abc import Generator, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from typing import Final, TypeVar

from posescore.pose.estimators.estimator import Box, PairEstimate, PairEstimator, Picture

Item = TypeVar("Item")

KEPT_FRACTION: Final = 0.06
"""A place is kept while the one wanted differs by less than this fraction of its side, in its
middle or in its size: a fifth of what the networks were trained to bear. Of 0, .06, .1 and .15 on
two filmed training matches none found more or less; .06 keeps nearer and asks one frame in ten in
vain."""


def settled_box(kept: Box | None, wanted: Box | None) -> Box | None:
    """The place that was searched last while it is as good as the one wanted; else that one."""
    if kept is None or wanted is None:
        return wanted
    side = max(kept.width_px, kept.height_px)
    off = max(
        abs(wanted.centre_x_px - kept.centre_x_px),
        abs(wanted.centre_y_px - kept.centre_y_px),
        abs(max(wanted.width_px, wanted.height_px) - side),
    )
    return kept if off < KEPT_FRACTION * side else wanted


@dataclass(frozen=True, slots=True, eq=False)
class _Asked:
    picture: Picture
    box: Box
    answer: Future[PairEstimate]


class Prefetcher:
    """Asks an estimator about one frame and, at the same time, about the next one.

    Parameters
    ----------
    estimator
        Is asked from two threads at a time.
    """

    def __init__(self, estimator: PairEstimator) -> None:
        self._estimator = estimator
        self._pool = ThreadPoolExecutor(1, thread_name_prefix="next-frame")
        self._asked: _Asked | None = None

    def estimate(
        self, picture: Picture, box: Box | None, following: Picture | None
    ) -> PairEstimate:
        """Keypoints in a box of the picture (in all of it without one).

        Where they are not known already, the picture that follows is asked about as well, in the
        same box.
        """
        if box is None:
            return self._estimator.estimate(picture)
        asked, self._asked = self._asked, None
        if asked is not None and asked.picture is picture and asked.box == box:
            return asked.answer.result()
        if following is not None:
            answer = self._pool.submit(self._estimator.estimate, following, (box,))
            self._asked = _Asked(following, box, answer)
        return self._estimator.estimate(picture, (box,))

    def close(self) -> None:
        """Wait for the answer that is still being given."""
        self._pool.shutdown(cancel_futures=True)


@contextlib.contextmanager
def prefetching(estimator: PairEstimator) -> Iterator[Prefetcher]:
    """Ask about two frames at a time, and leave no thread behind."""
    both = Prefetcher(estimator)
    try:
        yield both
    finally:
        both.close()


def with_next(items: Iterable[Item]) -> Generator[tuple[Item, Item | None], None, None]:
    """Every item with the one after it; the last one with None."""
    coming = iter(items)
    for item in coming:
        for following in coming:
            yield item, following
            item = following
        yield item, None
