"""Drawn into pictures: skeletons, hidden faces; and pictures as JPEG."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.footage.opencv import cv2
from posescore.terms import BONES, Athlete

Picture = NDArray[np.uint8]
"""``(height, width, 3)`` uint8, RGB, upright."""

SURE_ENOUGH: Final = 0.5
"""Keypoints below are drawn hollow, and lines to them thin."""
_DARK: Final = (10, 14, 16)
_HEAD: Final = 7
"""Keypoints up to the shoulders, above which the letter stands."""
_CELLS: Final = 4
"""A hidden face keeps so many patches of colour across: too few for any feature."""


@dataclass(frozen=True, slots=True)
class Look:
    """How an athlete is drawn: never by colour alone."""

    colour: tuple[int, int, int]
    dashed: bool
    square: bool


LOOKS: Final[Mapping[Athlete, Look]] = {
    Athlete.A: Look((255, 164, 69), dashed=False, square=False),
    Athlete.B: Look((88, 204, 255), dashed=True, square=True),
}


@dataclass(frozen=True, slots=True)
class Disc:
    """A place in a picture, pixels."""

    x_px: float
    y_px: float
    radius_px: float

    def scaled(self, by: float) -> Disc:
        """The same place in a picture that is ``by`` times as large."""
        return Disc(self.x_px * by, self.y_px * by, self.radius_px * by)


def draw_pair(
    picture: Picture, keypoints_px: NDArray[np.float32], sure: NDArray[np.float32]
) -> Picture:
    """A copy with both skeletons on it.

    Parameters
    ----------
    keypoints_px
        ``(2, 21, 2)``, pixels of this picture; NaN where missing.
    sure
        ``(2, 21)`` in [0, 1], confidence of each keypoint.

    Notes
    -----
    A has full lines, round points and a round letter; B dashed lines, square points and a square
    letter. What is seen badly is thin and hollow.
    """
    drawn = np.ascontiguousarray(picture).copy()
    unit = max(1.0, min(drawn.shape[:2]) / 360)
    for athlete, look in LOOKS.items():
        points, weight = keypoints_px[athlete.slot], np.nan_to_num(sure[athlete.slot])
        there = np.isfinite(points).all(axis=-1)
        for a, b in BONES:
            if there[a] and there[b]:
                known = min(weight[a], weight[b]) >= SURE_ENOUGH
                _draw_bone(drawn, points[a], points[b], look, unit if known else unit / 2)
        for point, confidence in zip(points[there], weight[there], strict=True):
            _draw_point(drawn, point, look, unit, confidence >= SURE_ENOUGH)
        if there.any():
            _draw_letter(drawn, points[there], points[:_HEAD][there[:_HEAD]], athlete, unit)
    return drawn


def _at(point: NDArray[np.floating]) -> tuple[int, int]:
    x, y = np.clip(point, -30_000, 30_000)
    return round(float(x)), round(float(y))


def _draw_bone(
    picture: Picture, a: NDArray[np.floating], b: NDArray[np.floating], look: Look, unit: float
) -> None:
    pieces = _dashes(a, b, 8 * unit, 5 * unit) if look.dashed else [(a, b)]
    for colour, width in ((_DARK, 4.4), (look.colour, 2.2)):
        for start, end in pieces:
            cv2.line(
                picture, _at(start), _at(end), colour, max(1, round(width * unit)), cv2.LINE_AA
            )


def _dashes(
    a: NDArray[np.floating], b: NDArray[np.floating], on_px: float, off_px: float
) -> list[tuple[NDArray[np.floating], NDArray[np.floating]]]:
    length = float(np.hypot(*(b - a)))
    if not 0 < length < 20_000:
        return [(a, b)]
    along = (b - a) / length
    starts = np.arange(0.0, length, on_px + off_px)
    return [(a + along * at, a + along * min(at + on_px, length)) for at in starts]


def _draw_point(
    picture: Picture, point: NDArray[np.floating], look: Look, unit: float, sure: bool
) -> None:
    x, y = _at(point)
    r = max(2, round(2.6 * unit))
    inner, outer = (look.colour, _DARK) if sure else (_DARK, look.colour)
    for colour, thickness in ((inner, -1), (outer, max(1, round(unit)))):
        if look.square:
            cv2.rectangle(picture, (x - r, y - r), (x + r, y + r), colour, thickness)
        else:
            cv2.circle(picture, (x, y), r, colour, thickness, cv2.LINE_AA)


def _draw_letter(
    picture: Picture,
    points: NDArray[np.float32],
    head: NDArray[np.float32],
    athlete: Athlete,
    unit: float,
) -> None:
    look, side = LOOKS[athlete], round(8.5 * unit)
    seen = head if len(head) else points
    x = round(float(seen[:, 0].mean()))
    y = round(max(float(seen[:, 1].min()) - 16 * unit, side + 1))
    for colour, thickness in ((look.colour, -1), (_DARK, max(1, round(1.5 * unit)))):
        if look.square:
            cv2.rectangle(picture, (x - side, y - side), (x + side, y + side), colour, thickness)
        else:
            cv2.circle(picture, (x, y), side, colour, thickness, cv2.LINE_AA)
    font, size = cv2.FONT_HERSHEY_SIMPLEX, 0.42 * unit
    (width, height), _ = cv2.getTextSize(str(athlete), font, size, max(1, round(1.4 * unit)))
    place = (x - width // 2, y + height // 2)
    cv2.putText(
        picture, str(athlete), place, font, size, _DARK, max(1, round(1.4 * unit)), cv2.LINE_AA
    )


def hide_discs(picture: Picture, discs: Iterable[Disc]) -> Picture:
    """A copy in which nothing inside the discs can be recognised.

    Each disc keeps its mean colour in a few patches, whatever was in it; this cannot be undone.
    """
    hidden = np.ascontiguousarray(picture).copy()
    height, width = hidden.shape[:2]
    for disc in discs:
        reach = disc.radius_px + 1
        left, top = max(0, int(disc.x_px - reach)), max(0, int(disc.y_px - reach))
        right, bottom = (
            min(width, int(disc.x_px + reach) + 2),
            min(height, int(disc.y_px + reach) + 2),
        )
        if left >= right or top >= bottom:
            continue
        part = hidden[top:bottom, left:right]
        y, x = np.ogrid[top:bottom, left:right]
        inside = (x - disc.x_px) ** 2 + (y - disc.y_px) ** 2 <= disc.radius_px**2
        part[inside] = _patches(picture[top:bottom, left:right])[inside]
    return hidden


def hide_all(picture: Picture) -> Picture:
    """A copy in which no face can be recognised anywhere: colours of large patches alone."""
    return _patches(picture, 16)


def _patches(part: Picture, cells: int = _CELLS) -> Picture:
    height, width = part.shape[:2]
    size = (max(1, min(cells, width)), max(1, min(cells * height // width or 1, height)))
    small = cv2.resize(np.ascontiguousarray(part), size, interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.resize(small, (width, height), interpolation=cv2.INTER_LINEAR), np.uint8)


def fitted(picture: Picture, width_px: int) -> Picture:
    """The picture, at most ``width_px`` wide."""
    height, width = picture.shape[:2]
    if width <= width_px:
        return picture
    size = (width_px, max(1, round(height * width_px / width)))
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.uint8)


def jpeg(picture: Picture, quality: int = 82) -> bytes:
    """The picture as JPEG; 82 shows no fault in print."""
    done, coded = cv2.imencode(
        ".jpg", cv2.cvtColor(picture, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, quality]
    )
    assert done, "any picture can be coded as JPEG"
    return bytes(coded)
