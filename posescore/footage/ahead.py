"""Work ahead in a second thread: the next frames are decoded while this one is looked at."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Final, TypeVar

Item = TypeVar("Item")
_END: Final = object()


def ahead(items: Iterator[Item], depth: int = 3) -> Iterator[Item]:
    """The same items, made by another thread up to ``depth`` ahead.

    An exception in the other thread is raised here, after the items before it. Leaving the loop
    early stops the other thread and closes a generator there.
    """
    with ThreadPoolExecutor(1, thread_name_prefix="frames-ahead") as pool:
        coming = deque(pool.submit(next, items, _END) for _ in range(depth))
        try:
            while (item := coming.popleft().result()) is not _END:
                coming.append(pool.submit(next, items, _END))
                yield item  # type: ignore[misc]  # an item, since it is not the end
        finally:
            for later in coming:
                later.cancel()
            pool.submit(getattr(items, "close", lambda: None))
