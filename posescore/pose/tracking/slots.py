"""The two slots of a match: where each athlete was, where to look next, who of the found is who."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.pose.estimators.detection import SAME_PERSON_OKS, Person, similarity
from posescore.pose.estimators.estimator import Box
from posescore.pose.oks import keypoint_box_px
from posescore.pose.tracking.appearance import Colour, ColourModel, colour_distance

MISSING_COST: Final = 3.5
"""Cost of leaving a slot empty, in body sizes moved per body size plus colour in units of
:data:`COLOUR_UNIT`. The estimator has left everybody else out already: only what is both elsewhere
and of another colour is nobody. Judgement, not a fit."""
COLOUR_UNIT: Final = 25.0
"""L*a*b* distance that counts as much as a move by one body size: white and blue gis are 45 to 60
apart, the same gi in light and shade 5 to 15."""
NEVER_SEEN_COST: Final = 1.6
"""Cost of giving a detection to an athlete of whom nothing is known: what fits nobody else."""
FORGET_AFTER_S: Final = 1.0
"""After so long without a detection, the last place says nothing any more."""
_FRESH_S: Final = 0.2
_MIXTURE_DISTANCE: Final = 15.0


@dataclass(frozen=True, slots=True, eq=False)
class Detection:
    """A person found in a frame and what the gi looks like there."""

    person: Person
    colour: Colour | None


@dataclass(slots=True)
class Slot:
    """What is known of one athlete while following."""

    model: ColourModel = field(default_factory=ColourModel)
    person: Person | None = None
    seen_s: float = -math.inf
    velocity_px_s: NDArray[np.float64] = field(default_factory=lambda: np.zeros(2))

    def place(self, detection: Detection, time_s: float, learn: bool) -> None:
        """Take the detection as this athlete's."""
        passed_s = time_s - self.seen_s
        if self.person is not None and 0 < passed_s < FORGET_AFTER_S:
            moved = (detection.person.centre_px - self.person.centre_px) / passed_s
            self.velocity_px_s = 0.6 * self.velocity_px_s + 0.4 * np.nan_to_num(moved)
        else:
            self.velocity_px_s = np.zeros(2)
        self.person, self.seen_s = detection.person, time_s
        if learn:
            self.model.learn(detection.colour)

    def known(self, time_s: float) -> bool:
        """True while the last place still says something."""
        return self.person is not None and abs(time_s - self.seen_s) <= FORGET_AFTER_S

    def shift_px(self, time_s: float) -> NDArray[np.float64]:
        """``(2,)`` float64, pixels: how far the athlete has likely moved since the last detection.

        At most what 0.2 s of coasting make.
        """
        return self.velocity_px_s * max(-0.2, min(0.2, time_s - self.seen_s))

    def forget(self) -> None:
        """Nothing is known of the place any more (a cut); the gi's colour stays."""
        self.person, self.seen_s, self.velocity_px_s = None, -math.inf, np.zeros(2)

    def cost(self, detection: Detection, time_s: float, covered_by: Slot | None = None) -> float:
        """How badly a detection fits: movement in body sizes, plus colour.

        Somebody seen a moment ago may look wrong and still be the same; somebody lost must look
        right to be found again. ``covered_by`` is the opponent in contact, whose gi may be part of
        what is seen: colours between both gis count less, other colours in full.
        """
        if self.person is None and self.model.colour is None:
            return NEVER_SEEN_COST
        gap_s = abs(time_s - self.seen_s)
        fresh = gap_s <= _FRESH_S
        colour = self.model.distance(detection.colour) / COLOUR_UNIT
        if fresh and covered_by is not None and self._mixed(detection, covered_by):
            colour *= 0.3
        colour = min(1.7 if fresh else 2.5, colour)
        if self.person is None:
            return colour
        apart = detection.person.keypoints_px - (self.person.keypoints_px + self.shift_px(time_s))
        distances = np.linalg.norm(apart, axis=-1)
        if not np.isfinite(distances).any():
            return colour
        moved = float(np.nanmean(distances)) / self.person.size_px
        trust = 1.0 / (1.0 + 3.0 * max(0.0, gap_s - 0.1))
        return min(3.0, 2.0 * moved) * trust + colour

    def _mixed(self, detection: Detection, opponent: Slot) -> bool:
        """True when a colour is one of the two gis, or a mixture of both."""
        own, other = self.model.colour, opponent.model.colour
        if detection.colour is None or own is None or other is None:
            return True
        way = other - own
        fraction = float(
            np.clip((detection.colour - own) @ way / max(1e-9, float(way @ way)), 0, 1)
        )
        return bool(colour_distance(own + fraction * way, detection.colour) < _MIXTURE_DISTANCE)


def square_around(points_px: NDArray[np.floating], margin: float) -> Box:
    """The upright square around points ``(n, 2)``, NaN left out, with ``margin`` on all sides."""
    x, y, width, height = keypoint_box_px(points_px)
    side = max(width, height) * (1 + 2 * margin)
    return Box(x + width / 2, y + height / 2, side, side)


def pair_box(slots: Sequence[Slot], time_s: float, margin: float) -> Box | None:
    """One upright square around both athletes; None unless both places are known."""
    points = [
        slot.person.keypoints_px + slot.shift_px(time_s)
        for slot in slots
        if slot.person is not None and slot.known(time_s)
    ]
    return square_around(np.concatenate(points), margin) if len(points) == len(slots) else None


def in_contact(slots: Sequence[Slot]) -> bool:
    """True when the bodies were last seen at least half over one another."""
    people = [slot.person for slot in slots if slot.person is not None]
    return len(people) == 2 and not apart(people[0], people[1])


def apart(one: Person, two: Person) -> bool:
    """True when two bodies stand clear of one another, so that their colours do not mix."""
    between = float(np.linalg.norm(one.centre_px - two.centre_px))
    return between > 0.5 * (one.size_px + two.size_px) / 2


def assign(
    slots: Sequence[Slot], detections: Sequence[Detection], time_s: float
) -> tuple[int | None, int | None]:
    """Which detection is A's and which is B's: the cheapest one-to-one choice, all of them tried.

    Leaving a slot empty, and two detections on one body, cost :data:`MISSING_COST`. Returns the
    index of the detection for each slot, None where leaving it empty is cheaper.
    """
    contact = in_contact(slots)
    others = reversed(slots) if contact else (None, None)
    costs = [
        [slot.cost(detection, time_s, other) for detection in detections]
        for slot, other in zip(slots, others, strict=True)
    ]
    choices = [*range(len(detections)), None]

    def total(pair: tuple[int | None, int | None]) -> float:
        a, b = pair
        cost_a = MISSING_COST if a is None else costs[0][a]
        cost_b = MISSING_COST if b is None else costs[1][b]
        one_body = (
            a is not None
            and b is not None
            and similarity(detections[a].person, detections[b].person) > SAME_PERSON_OKS
        )
        return cost_a + cost_b + (MISSING_COST if one_body else 0.0)

    pairs = [(a, b) for a, b in itertools.product(choices, repeat=2) if a is None or a != b]
    return min(pairs, key=total)
