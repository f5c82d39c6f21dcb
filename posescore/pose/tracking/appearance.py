"""What an athlete's gi looks like, so that A stays A when the bodies cross."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from posescore.footage.opencv import cv2
from posescore.pose.estimators.detection import Person
from posescore.pose.estimators.estimator import Picture
from posescore.terms import KEYPOINT_INDEX

Colour = NDArray[np.float64]
"""``(3,)`` float64: a colour in CIE L*a*b* (lightness 0 to 100, a and b about -100 to 100)."""

GI_COLOURS: Final[dict[str, tuple[int, int, int]]] = {
    "white": (225, 225, 225),
    "blue": (35, 65, 145),
    "black": (30, 30, 32),
    "red": (170, 30, 35),
    "green": (40, 110, 60),
    "grey": (125, 125, 125),
    "brown": (95, 60, 40),
    "yellow": (215, 190, 60),
    "pink": (215, 120, 150),
    "purple": (95, 50, 130),
    "orange": (215, 110, 40),
}
"""Colours a gi or rash guard can be called, as sRGB under ordinary light."""

_I = KEYPOINT_INDEX
_CORNERS: Final = [
    _I[k] for k in ("left_shoulder", "right_shoulder", "left_hip", "right_hip", "left_knee")
] + [_I["right_knee"], _I["left_elbow"], _I["right_elbow"]]


_WEIGHT: Final = np.array([0.5, 1.0, 1.0])
_TRUSTED: Final = 0.5
"""Confidence, as a mean over the keypoints a point lies between, from which it is looked at."""


def _weights() -> NDArray[np.float64]:
    """``(n_points, 8)``: every sampled point as a mean of the corners above."""
    rows = []
    for down in (0.15, 0.35, 0.55, 0.75, 0.95):
        for across in (0.2, 0.4, 0.6, 0.8):
            top, bottom = 1 - down, down
            rows.append([top * (1 - across), top * across, bottom * (1 - across), bottom * across])
    trunk = np.pad(np.array(rows), ((0, 0), (0, 4)))
    limbs = []
    for start, end in ((2, 4), (3, 5), (0, 6), (1, 7)):
        for part in (0.15, 0.35, 0.55, 0.75):
            row = np.zeros(8)
            row[start], row[end] = 1 - part, part
            limbs.append(row)
    return np.vstack([trunk, limbs])


_POINTS: Final = _weights()


def lab(rgb: NDArray[np.uint8]) -> NDArray[np.float64]:
    """Colours ``(n, 3)`` uint8 sRGB as CIE L*a*b* ``(n, 3)`` float64."""
    unit = rgb.reshape(1, -1, 3).astype(np.float32) / 255
    return np.asarray(cv2.cvtColor(unit, cv2.COLOR_RGB2Lab)[0], dtype=np.float64)


def named_colour(name: str) -> Colour | None:
    """The colour a name stands for, or None for an unknown name."""
    rgb = GI_COLOURS.get(name.strip().lower())
    return None if rgb is None else lab(np.array([rgb], np.uint8))[0]


def colour_of(picture: Picture, person: Person) -> Colour | None:
    """The median colour of trunk, thighs and upper arms, or None when too little is in view.

    Notes
    -----
    36 points between shoulders, hips, knees and elbows; a median, since some of them always lie on
    the opponent, the belt or the mat. Points between keypoints that are hardly trusted are left
    out: they are mostly hidden, and what is seen there is the opponent.
    """
    corners = person.keypoints_px[_CORNERS].astype(np.float64)
    points = _POINTS @ np.nan_to_num(corners, nan=-1e9)
    trusted = _POINTS @ np.nan_to_num(person.keypoint_confidence[_CORNERS]) >= _TRUSTED
    height, width = picture.shape[:2]
    column, row = np.rint(points).T
    inside = (column >= 0) & (column < width) & (row >= 0) & (row < height) & trusted
    if inside.sum() < len(_POINTS) // 3:
        return None
    pixels = picture[row[inside].astype(int), column[inside].astype(int)]
    return np.asarray(np.median(lab(pixels), axis=0), dtype=np.float64)


@dataclass(slots=True)
class ColourModel:
    """The running median-like colour of one athlete.

    The first detection sets it; later ones move it slowly, so that light may change over a match
    while one wrong detection does not turn it.
    """

    colour: Colour | None = field(default=None)
    learning_rate: float = 0.03

    def distance(self, seen: Colour | None) -> float:
        """Distance of a detection from the model; 0 while either is unknown."""
        if seen is None or self.colour is None:
            return 0.0
        return float(colour_distance(self.colour, seen))

    def learn(self, seen: Colour | None) -> None:
        """Take a detection in."""
        if seen is None:
            return
        if self.colour is None:
            self.colour = seen
        else:
            self.colour = (1 - self.learning_rate) * self.colour + self.learning_rate * seen


def colour_distance(one: Colour, two: Colour) -> Any:
    """Distance in L*a*b* over the last axis, lightness counting half: folds and shadows change it.

    A number for two colours ``(3,)``, an array where colours come in arrays.
    """
    return np.linalg.norm((one - two) * _WEIGHT, axis=-1)
