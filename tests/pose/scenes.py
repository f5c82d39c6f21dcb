"""Invented scenes: painted bodies whose keypoints are known, and an estimator that sees them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from posescore.footage.clock import FrameClock
from posescore.footage.opencv import cv2
from posescore.footage.reading import Frame
from posescore.pose.estimators.detection import Person, pair_estimate
from posescore.pose.estimators.estimator import Box, PairEstimate, Picture
from posescore.terms import BONES, MIRRORED_KEYPOINTS, N_KEYPOINTS, Step

WIDTH_PX, HEIGHT_PX = 640, 360

_HEAD = [(0, -78), (2, -81), (-2, -81), (5, -79), (-5, -79)]
_ARMS = [(14, -62), (-14, -62), (20, -38), (-20, -38), (24, -16), (-24, -16)]
_LEGS = [(9, -8), (-9, -8), (11, 32), (-11, 32), (12, 70), (-12, 70)]
_FEET = [(10, 76), (-10, 76), (20, 78), (-20, 78)]
STANDING = np.array([*_HEAD, *_ARMS, *_LEGS, *_FEET], dtype=np.float64)
"""``(21, 2)``: one body about its hips, pixels."""


@dataclass(slots=True)
class Body:
    """A body that moves along a path of hip centres."""

    path_px: NDArray[np.float64]
    gi: tuple[int, int, int]
    turn_deg: NDArray[np.float64] | float = 0.0
    scale: float = 1.0
    hidden: set[int] = field(default_factory=set)
    """Frames in which the estimator does not see it."""
    flipped: set[int] = field(default_factory=set)
    """Frames in which the estimator mistakes left for right."""

    def keypoints(self, index: int) -> NDArray[np.float64]:
        turn = np.radians(np.broadcast_to(self.turn_deg, len(self.path_px))[index])
        cos, sin = np.cos(turn), np.sin(turn)
        swing = 3 * np.sin(index / 5 + np.arange(N_KEYPOINTS))[:, None]
        local = (STANDING + swing) * self.scale
        return local @ np.array([[cos, sin], [-sin, cos]]) + self.path_px[index]


@dataclass(slots=True)
class Scene:
    """Bodies in a plain hall; later bodies are painted in front."""

    bodies: Sequence[Body]
    times: FrameClock
    background: Sequence[int] | None = None
    size_px: tuple[int, int] = (WIDTH_PX, HEIGHT_PX)

    def clock(self) -> FrameClock:
        return self.times

    def frames(
        self, start: int = 0, step: int = 1, longest_px: int | None = None
    ) -> Iterator[Frame]:
        for index in range(start, len(self.times), step):
            yield Frame(index, self.times.time_s(index), self.picture(index))

    def picture(self, index: int) -> Picture:
        shade = 95 if self.background is None else self.background[index]
        picture = np.full((HEIGHT_PX, WIDTH_PX, 3), shade, np.uint8)
        for body in self.bodies:
            points = np.rint(body.keypoints(index)).astype(int)
            trunk = points[[5, 6, 12, 11]]
            cv2.fillConvexPoly(picture, trunk, body.gi)
            for a, b in BONES:
                cv2.line(picture, points[a].tolist(), points[b].tolist(), body.gi, 11)
        picture[0, 0] = (index // 256, index % 256, 0)
        return picture

    def true_keypoints(self) -> NDArray[np.float64]:
        """``(n_frames, n_bodies, 21, 2)``."""
        return np.array([[b.keypoints(i) for b in self.bodies] for i in range(len(self.times))])


@dataclass(slots=True)
class SceneEstimator:
    """Sees the two athletes of a scene with a little noise, in an order that says nothing.

    The first two bodies are the athletes. Others are left out, but for the ``mistaken`` frames: in
    these the third body is taken for the second athlete, as a referee sometimes is.
    """

    scene: Scene
    noise_px: float = 1.0
    mistaken: frozenset[int] = frozenset()
    boxes: list[Box | None] = field(default_factory=list)

    @property
    def step(self) -> Step:
        return Step("scene", {"noise_px": self.noise_px})

    def close(self) -> None: ...

    def estimate(self, picture: Picture, boxes: tuple[Box, ...] = ()) -> PairEstimate:
        box = boxes[0] if boxes else None
        self.boxes.append(box)
        index = int(picture[0, 0, 0]) * 256 + int(picture[0, 0, 1])
        random = np.random.default_rng(index)
        people = []
        first, *others = self.scene.bodies or (None,)
        second = others[1:2] if index in self.mistaken else others[:1]
        for body in (first, *second):
            if body is None:
                continue
            points = body.keypoints(index)
            if index in body.hidden or (box is not None and not inside(box, points.mean(axis=0))):
                continue
            if index in body.flipped:
                points = points[list(MIRRORED_KEYPOINTS)]
            points = points + random.normal(0, self.noise_px, points.shape)
            confidence = np.full(N_KEYPOINTS, 0.9, np.float32)
            people.append(Person(points.astype(np.float32), confidence))
        random.shuffle(people)  # type: ignore[arg-type]
        return pair_estimate(people)


def inside(box: Box, point: NDArray[np.float64]) -> bool:
    turn = np.radians(box.turn_deg)
    away = point - np.array([box.centre_x_px, box.centre_y_px])
    along = away @ np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    return bool(abs(along[0]) < box.width_px / 2 and abs(along[1]) < box.height_px / 2)


def path(*stops: tuple[float, float, float], n_frames: int) -> NDArray[np.float64]:
    """Straight lines through ``(frame, x, y)`` stops."""
    frame, x, y = np.array(stops).T
    index = np.arange(n_frames)
    return np.column_stack([np.interp(index, frame, x), np.interp(index, frame, y)])
