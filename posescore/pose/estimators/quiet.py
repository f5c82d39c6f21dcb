"""Keep native libraries from writing into a person's terminal when they start and when they end."""

from __future__ import annotations

import contextlib
import os
import sys
import weakref
from collections.abc import Callable, Iterator
from typing import Any


@contextlib.contextmanager
def quiet_native_stderr() -> Iterator[None]:
    """Send file descriptor 2 to nowhere for the length of the block.

    Only for moments when nothing of ours is worth reading there: a library's start.
    """
    sys.stderr.flush()
    try:
        kept = os.dup(2)
    except OSError:
        yield
        return
    try:
        with open(os.devnull, "wb") as nowhere:  # noqa: PTH123
            os.dup2(nowhere.fileno(), 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)


def closing_quietly(owner: object, task: Any) -> Callable[[], object]:
    """What closes a MediaPipe task, once: when called, with its owner, or before the program ends.

    A task that is left to the interpreter's end complains about modules that are gone already.
    """
    return weakref.finalize(owner, _close, task)


def _close(task: Any) -> None:
    """Close a task, also while the interpreter goes down and its thread is gone already."""
    try:
        task.close()
    except RuntimeError:
        task._handle = None  # what its destructor looks at before it complains
