"""An invented match for the library's tests."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from posescore.footage.clock import FrameClock
from posescore.holds.event import EventName, MatchEvent
from posescore.holds.hold import Check, CheckName, Hold
from posescore.library.analysis import Analysis
from posescore.library.library import Library
from posescore.library.match import AthleteInfo, Footage, Match, MatchInfo
from posescore.pose.track import Finding, FindingKind
from posescore.terms import Athlete, Interval, Position, Provenance, Step

A, B = Athlete.A, Athlete.B

INFO = MatchInfo(
    "Second round",
    AthleteInfo("Mira Ostrand", "white", "blue"),
    AthleteInfo("Dana Külve", "blue", "blue"),
    event="Harbour Open",
    mat="3",
    held_on=date(2026, 5, 9),
    division={"age": "adult", "belt": "blue"},
    footage=Footage("/films/round two.mp4", "ab" * 32, 1234567, 60.0),
)

HOLDS = (
    Hold(0.0, 8.0, Position.STANDING, None, 0.97),
    Hold(9.0, 15.0, Position.CLOSED_GUARD, A, 0.9),
    Hold(15.0, 24.0, Position.SIDE_CONTROL, A, 0.85),
    Hold(
        24.0, 28.5, Position.KNEE_ON_BELLY, A, 0.8,
        (Check(CheckName.OTHER_KNEE_DOWN, False, 0.9, "the other knee is off the mat"),),
    ),
    Hold(28.5, 36.0, Position.MOUNT, A, 0.88),
    Hold(
        37.0, 46.0, Position.BACK_CONTROL, A, 0.82,
        (Check(CheckName.HOOKS, 2, 0.85, "both heels are inside"),),
    ),
    Hold(47.0, 58.0, Position.HALF_GUARD, B, 0.7),
)  # fmt: skip
EVENTS = (
    MatchEvent(0.0, EventName.START),
    MatchEvent(8.2, EventName.TAKEDOWN_ATTEMPT, A, 0.9),
    MatchEvent(50.0, EventName.PENALTY, B, 0.6),
)
PROVENANCE = Provenance("0.0", (Step("decode holds", {"seed": 1}, {"m": "ff"}),))


def analysis(
    holds: tuple[Hold, ...] = HOLDS,
    events: tuple[MatchEvent, ...] = EVENTS,
    track: Path | None = None,
    n_frames: int = 1800,
) -> Analysis:
    clock = FrameClock.steady(n_frames, 30.0)
    finding = Finding(FindingKind.POSSIBLE_SWAP, Interval(36.0, 37.0), 0.4, "They crossed.")
    return Analysis(clock, holds, events, (finding,), PROVENANCE, track_path=track)


def library_with_match(folder: Path) -> tuple[Library, Match]:
    library = Library(folder)
    track = folder / "somewhere.parquet"
    track.write_bytes(b"keypoints of a track")
    match = library.add_match(INFO)
    library.save_analysis(match.id, analysis(track=track))
    return library, library.match(match.id)


def long_holds(minutes: float) -> tuple[Hold, ...]:
    """A long match: the same story over and over."""
    end_s = minutes * 60.0
    holds = []
    start_s = 0.0
    while start_s + 60.0 <= end_s:
        holds += [
            Hold(
                h.start_s + start_s, h.end_s + start_s, h.position, h.upper, h.confidence, h.checks
            )
            for h in HOLDS
        ]
        start_s += 60.0
    return tuple(holds)
