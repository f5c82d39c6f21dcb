"""Serve matches that end, or do not: ``python -m tests.browser.served_endings FOLDER [PORT]``.

Prints the address when it is ready, like the program itself.
"""

from __future__ import annotations

import sys
from pathlib import Path

from posescore.holds.event import EventName, MatchEvent
from posescore.holds.hold import Check, CheckName, Hold
from posescore.library.library import Library
from posescore.terms import Athlete, Position
from posescore.web.server import serve
from tests.browser.served import SMALL
from tests.web.small_match import add_match

A = Athlete.A
KNEE_DOWN = (
    Hold(0.0, 6.0, Position.STANDING, None, 0.97),
    Hold(7.0, 12.0, Position.SIDE_CONTROL, A, 0.9),
    Hold(12.5, 17.0, Position.KNEE_ON_BELLY, A, 0.9, (
        Check(CheckName.OTHER_KNEE_DOWN, True, 0.95),)),
    Hold(17.0, 22.0, Position.KNEE_ON_BELLY, A, 0.9, (
        Check(CheckName.OTHER_KNEE_DOWN, False, 0.95),)),
    Hold(23.0, 30.0, Position.MOUNT, A, 0.97),
)  # fmt: skip
"""The other knee is down for three seconds, comes off the mat, and the same position scores."""
STARTED = (MatchEvent(0.5, EventName.START), MatchEvent(6.2, EventName.TAKEDOWN_ATTEMPT, A, 0.9))


def main(folder: Path, port: int) -> None:
    """Match 1 ends as marked, 2 is a clip without an end, in 3 nothing is proposed."""
    with Library(folder / "library") as library:
        if not library.matches():
            add_match(library, folder, SMALL)
            add_match(
                library, folder, SMALL, title="A clip", holds=KNEE_DOWN, events=STARTED, findings=()
            )
            add_match(library, folder, SMALL, title="Nothing", holds=(), events=(), findings=())
        serve(library, port=port, open_browser=False)


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 0)
