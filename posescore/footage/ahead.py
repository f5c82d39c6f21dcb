"""Work ahead in a second thread: the next frames are decoded while this one is looked at."""

from __future__ import annotations

import queue
import threading
from collections.abc import Iterator
from typing import Final, TypeVar

Item = TypeVar("Item")
_END: Final = object()


def ahead(items: Iterator[Item], depth: int = 3) -> Iterator[Item]:
    """The same items, made by another thread up to ``depth`` ahead.

    An exception in the other thread is raised here, after the items before it. Leaving the loop
    early stops the other thread.
    """
    ready: queue.Queue[object] = queue.Queue(maxsize=depth)
    stopped = threading.Event()
    arguments = (items, ready, stopped)
    thread = threading.Thread(target=_work, args=arguments, name="frames-ahead", daemon=True)
    thread.start()
    try:
        while (thing := ready.get()) is not _END:
            if isinstance(thing, _Failure):
                raise thing.error
            yield thing  # type: ignore[misc]  # the queue holds items, a failure or the end
    finally:
        stopped.set()
        thread.join()


def _work(items: Iterator[object], ready: queue.Queue[object], stopped: threading.Event) -> None:
    try:
        for item in items:
            if not _hand_over(item, ready, stopped):
                return
    except BaseException as error:  # handed to the thread that reads
        _hand_over(_Failure(error), ready, stopped)
    else:
        _hand_over(_END, ready, stopped)


def _hand_over(thing: object, ready: queue.Queue[object], stopped: threading.Event) -> bool:
    """Wait for room in the queue; False when nobody reads any more."""
    while not stopped.is_set():
        try:
            ready.put(thing, timeout=0.1)
        except queue.Full:
            continue
        return True
    return False


class _Failure:
    """An exception on its way to the other thread."""

    def __init__(self, error: BaseException) -> None:
        self.error = error
