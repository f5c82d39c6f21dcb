"""From the time stamps a container carries to times that rise from frame to frame."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Final

import numpy as np

from posescore.footage.clock import FrameClock

BACKWARD_JUMP_S: Final = 0.5
"""A stamp this far behind the last one starts a new count (two recordings in one file), and is
shifted behind it; a smaller step back is one bad stamp."""


@dataclass(slots=True)
class RisingTicks:
    """Make stamps rise, one frame after the other, in the order of presentation.

    A missing stamp is one typical frame after the last one; a stamp that does not rise is one
    tick after it.

    Parameters
    ----------
    typical_ticks
        How long a frame is usually shown, in ticks of the time base.
    jump_ticks
        A step back of at least so much shifts all later stamps.
    """

    typical_ticks: int
    jump_ticks: int
    repaired: int = 0
    _last: int | None = field(default=None)
    _shift: int = 0

    def next(self, stamp: int | None) -> int:
        """The tick of the next frame."""
        last = self._last
        if last is None:
            tick = stamp or 0
        elif stamp is None:
            tick = last + self.typical_ticks
        else:
            tick = stamp + self._shift
            if tick <= last - self.jump_ticks:
                self._shift += last + self.typical_ticks - tick
                tick = last + self.typical_ticks
            tick = max(tick, last + 1)
        if stamp is None or tick != stamp:
            self.repaired += 1
        self._last = tick
        return tick


def rising(time_base: Fraction, frames_per_s: Fraction | None) -> RisingTicks:
    """A repairer for a stream's time base and stated frame rate."""
    rate = frames_per_s if frames_per_s else Fraction(25)
    typical = max(1, round(1 / (rate * time_base)))
    return RisingTicks(typical, max(1, round(Fraction(BACKWARD_JUMP_S) / time_base)))


def clock_of_ticks(
    ticks: Sequence[int] | Iterable[int], time_base: Fraction, last_duration: int | None = None
) -> FrameClock:
    """The clock of strictly rising ticks; the first frame is at 0 seconds.

    The last frame is shown for ``last_duration`` ticks, or else as long as the median frame; a
    lone frame of unknown duration for 1/25 s.
    """
    ticks_of_frames = np.asarray(list(ticks), dtype=np.int64)
    pts_s = (ticks_of_frames - ticks_of_frames[0]) * float(time_base)
    if last_duration is None or last_duration <= 0:
        steps = np.diff(ticks_of_frames)
        shown_s = float(np.median(steps)) * float(time_base) if len(steps) else 0.04
    else:
        shown_s = last_duration * float(time_base)
    return FrameClock(pts_s, float(pts_s[-1]) + shown_s)
