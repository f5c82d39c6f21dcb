"""A small invented match for the page and the API: holds, a track, a clip with its frame number.

The number stands in the picture as twelve squares, lowest bit first, white for 1 and dark for 0, so
that a test can read which frame a browser really shows.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
from numpy.typing import NDArray

from posescore.footage import reading
from posescore.footage.clock import FrameClock
from posescore.footage.proxy import make_proxy, plays_in_browsers
from posescore.holds.event import EventName, MatchEvent
from posescore.holds.hold import Check, CheckName, Hold
from posescore.library.analysis import Analysis
from posescore.library.library import Library
from posescore.library.match import AthleteInfo, Footage, Match, MatchInfo
from posescore.pose.track import Finding, FindingKind, PairTrack
from posescore.pose.track_file import write_track
from posescore.terms import Athlete, Interval, Position, Provenance

WIDTH, HEIGHT = 480, 270
BITS = 12
SQUARE = 24
TICKS_A_SECOND = 90_000
A, B = Athlete.A, Athlete.B

HOLDS = (
    Hold(0.0, 6.0, Position.STANDING, None, 0.97),
    Hold(7.0, 12.0, Position.CLOSED_GUARD, A, 0.93),
    Hold(12.5, 16.5, Position.OPEN_GUARD, A, 0.52),
    Hold(17.0, 21.5, Position.SIDE_CONTROL, A, 0.88),
    Hold(22.0, 26.0, Position.KNEE_ON_BELLY, A, 0.74, (
        Check(CheckName.OTHER_KNEE_DOWN, True, 0.81, "the left knee stays on the mat"),)),
    Hold(26.0, 30.5, Position.MOUNT, A, 0.91),
    Hold(32.0, 38.0, Position.BACK_CONTROL, B, 0.83, (
        Check(CheckName.HOOKS, 2, 0.86, "both heels inside the thighs"),)),
)  # fmt: skip
EVENTS = (
    MatchEvent(0.5, EventName.START),
    MatchEvent(6.2, EventName.TAKEDOWN_ATTEMPT, A, 0.9),
    MatchEvent(39.0, EventName.END),
)
FINDINGS = (
    Finding(FindingKind.POSSIBLE_SWAP, Interval(31.0, 31.8), 0.6, "The boxes overlap by 81 %."),
)


def write_clip(
    path: Path, clock: FrameClock, b_frames: int = 0, codec: str = "libx264", late_s: float = 0.0
) -> None:
    """A clip in which every frame shows its own number, shown at the clock's times.

    The stamps in the file begin ``late_s`` after zero, as those of cut footage do.
    """
    with av.open(str(path), "w") as box:
        stream = box.add_stream(codec, rate=30)
        stream.width, stream.height, stream.pix_fmt = WIDTH, HEIGHT, "yuv420p"
        stream.options = {"preset": "ultrafast", "g": "15", "bf": str(b_frames), "crf": "28"}
        if codec == "libx265":
            stream.options = {"preset": "ultrafast", "x265-params": "log-level=none"}
        stream.time_base = stream.codec_context.time_base = Fraction(1, TICKS_A_SECOND)
        for index, time_s in enumerate(clock.pts_s):
            frame = av.VideoFrame.from_ndarray(_picture(index), format="rgb24")
            frame.pts = round((time_s + late_s) * TICKS_A_SECOND)
            frame.time_base = Fraction(1, TICKS_A_SECOND)
            box.mux(stream.encode(frame))
        box.mux(stream.encode())


def _picture(index: int) -> NDArray[np.uint8]:
    picture = np.full((HEIGHT, WIDTH, 3), (70, 96, 88), np.uint8)
    picture[170:] = (150, 158, 140)
    for slot, colour in enumerate(((238, 238, 232), (44, 74, 160))):
        left = round(_centre_x(np.array([index]), slot)[0]) - 24
        picture[80:230, left : left + 48] = colour
    picture[:SQUARE] = 16
    for bit in range(BITS):
        if index >> bit & 1:
            picture[4 : SQUARE - 4, SQUARE * bit + 4 : SQUARE * (bit + 1) - 4] = 240
    return picture


def _centre_x(index: NDArray[np.int64], slot: int) -> NDArray[np.float64]:
    return (150.0, 320.0)[slot] + 60 * np.sin(index / (50, 70)[slot])


_BODY = np.array(
    [(0, -80), (4, -84), (-4, -84), (8, -82), (-8, -82), (18, -60), (-18, -60), (24, -32),
     (-24, -32), (26, -6), (-26, -6), (12, -6), (-12, -6), (13, 30), (-13, 30), (13, 66), (-13, 66),
     (12, 70), (-12, 70), (20, 72), (-20, 72)], float)  # fmt: skip


def make_track(clock: FrameClock) -> PairTrack:
    """Two upright bodies that sway, some points missing, some unsure; the same every time."""
    random = np.random.default_rng(7)
    index = np.arange(len(clock))
    keypoints_px = np.empty((len(clock), 2, 21, 2), np.float32)
    for slot in (0, 1):
        centre = np.stack((_centre_x(index, slot), np.full(len(clock), 158.0)), axis=1)
        keypoints_px[:, slot] = _BODY + centre[:, None]
    confidence = np.clip(random.normal(0.75, 0.2, keypoints_px.shape[:3]), 0.05, 1)
    missing = random.random(confidence.shape) < 0.04
    keypoints_px[missing] = np.nan
    confidence[missing] = np.nan
    return PairTrack(
        keypoints_px, confidence.astype(np.float32), index, clock.pts_s.copy(), clock.end_s,
        (WIDTH, HEIGHT), Provenance("test"),
    )  # fmt: skip


def add_match(
    library: Library, folder: Path, clock: FrameClock, *, title: str = "Ines Vaz v Noa Berg",
    holds: Sequence[Hold] = HOLDS, events: Sequence[MatchEvent] = EVENTS,
    findings: Sequence[Finding] = FINDINGS, **how: Any,
) -> Match:  # fmt: skip
    """A match with footage, track and analysis; files of the same title in the folder are used.

    ``how`` goes to :func:`write_clip`. Footage that no browser plays gets its copy.
    """
    stem = title.lower().replace(" ", "-")
    clip, track = folder / f"{stem}.mp4", folder / f"{stem}.parquet"
    if not track.exists():
        write_clip(clip, clock, **how)
        write_track(make_track(clock), track)
    match = library.add_match(
        MatchInfo(
            title,
            AthleteInfo("Ines Vaz", "white", "blue"),
            AthleteInfo("Noa Berg", "blue", "blue"),
            event="Lakeside Cup",
            mat="2",
            footage=Footage(str(clip), "0" * 64, clip.stat().st_size, clock.end_s),
        )
    )
    analysis = Analysis(
        clock, tuple(holds), tuple(events), tuple(findings), Provenance("test"), track_path=track
    )
    library.save_analysis(match.id, analysis)
    film = reading.Footage(clip)
    if not plays_in_browsers(film.info):
        make_proxy(film, match.proxy_path)
    return library.match(match.id)
