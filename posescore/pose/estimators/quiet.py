"""Keep native libraries from writing their start-up notes into a person's terminal."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Iterator


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
