"""The yes-or-no questions behind the published criteria, and what of the picture they look at.

Each question has a function from keypoints of the upper and the lower athlete ``(n, 21, 2)`` and
the scale ``(n,)`` (pixels per metre) to features ``(n, n_features)``, NaN where a keypoint is
missing. A sided question is asked of the left and the right limb with the same function.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from posescore.holds.geometry import (
    along_body,
    leg_heights,
    lowest_y,
    middle,
    point,
    scale_px,
    to_segment,
    torso_y,
    view,
)
from posescore.terms import KEYPOINT_INDEX, Floats, Position

SIDES: Final = ("left", "right")
Features = Callable[[Floats, Floats, Floats, str], Floats]


@dataclass(frozen=True, slots=True)
class Question:
    """One question.

    Parameters
    ----------
    name
        Also the key of its truth in :class:`posescore.lab.train.criteria.figures.Scene`.
    scene
        The scene of :mod:`posescore.lab.train.criteria.figures` that varies it.
    positions
        The positions it is asked in.
    features
        From upper, lower, scale and side to features; unsided questions ignore the side.
    sided
        True where it is asked of each limb.
    before
        How often the answer is yes before looking, common practice of the sport. It matters
        where the view shows little.
    decisive
        Keypoints that the answer hangs on, of the upper or lower athlete; ``{side}`` is the side.
    """

    name: str
    scene: str
    positions: frozenset[Position]
    features: Features
    sided: bool
    before: float
    decisive: tuple[tuple[str, str], ...] = ()

    def shown(self, pair: Floats, side: str = "left") -> Floats:
        """Share of the decisive keypoints that are there, ``(n,)``; 1 where none is decisive."""
        if not self.decisive:
            return np.ones(len(pair))
        return np.asarray(np.isfinite(self._decisive_x(pair, side)).mean(axis=1))

    def ask(self, pair: Floats, side: str = "left") -> Floats:
        """Features of pairs ``(n, 2, 21, 2)``, the upper athlete first.

        Behind the geometry stands, for each decisive keypoint, 1 where it is missing and 0 where it
        is seen: what a feature tells depends on what it had to be made from.
        """
        with np.errstate(invalid="ignore", divide="ignore"):
            features = self.features(pair[:, 0], pair[:, 1], scale_px(pair), side)
        missing = np.isnan(self._decisive_x(pair, side)).astype(np.float64)
        return np.concatenate([np.where(np.isfinite(features), features, np.nan), missing], axis=1)

    def _decisive_x(self, pair: Floats, side: str) -> Floats:
        """``(n, n_decisive)``: x of the decisive keypoints, NaN where missing."""
        columns = [
            pair[:, int(who == "lower"), KEYPOINT_INDEX[name.format(side=side)], 0]
            for who, name in self.decisive
        ]
        return np.stack(columns, axis=1) if columns else np.empty((len(pair), 0))


def _other(side: str) -> str:
    return "right" if side == "left" else "left"


def _unit(vector: Floats) -> Floats:
    length = np.linalg.norm(vector, axis=-1, keepdims=True)
    return np.asarray(vector / np.maximum(length, 1e-9))


def _cross(a: Floats, b: Floats) -> Floats:
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])


def _axis(body: Floats) -> Floats:
    return _unit(middle(body, "shoulder") - middle(body, "hip"))


def _dot(a: Floats, b: Floats) -> Floats:
    return np.asarray((a * b).sum(-1))


def _length(vector: Floats) -> Floats:
    return np.asarray(np.linalg.norm(vector, axis=-1))


def _knee_on_torso(upper: Floats, lower: Floats, scale: Floats, _side: str) -> Floats:
    """The leg whose knee and shin lie nearer to the torso is on it; the other one is in question.

    Heights of the other leg first, then of the one on the torso, then where both lie.
    """
    heights = {side: leg_heights(upper, side, upper, lower, scale) for side in SIDES}
    hips, shoulders = middle(lower, "hip"), middle(lower, "shoulder")
    place = {}
    for side in SIDES:
        knee, ankle = point(upper, f"{side}_knee"), point(upper, f"{side}_ankle")
        place[side] = np.stack(
            [
                to_segment(knee, hips, shoulders) / scale,
                to_segment((knee + ankle) / 2, hips, shoulders) / scale,
                np.clip(along_body(lower, knee), -3.0, 4.0),
                np.clip(along_body(lower, ankle), -3.0, 4.0),
            ],
            axis=1,
        )
    away = {
        side: np.nan_to_num(place[side][:, :2], nan=0.5) @ np.array([1.0, 0.5]) for side in SIDES
    }
    left_on = (away["left"] < away["right"])[:, None]
    other = np.where(left_on, heights["right"], heights["left"])
    on = np.where(left_on, heights["left"], heights["right"])
    where_on = np.where(left_on, place["left"], place["right"])
    where_other = np.where(left_on, place["right"], place["left"])
    return np.concatenate(
        [other, on[:, :3], where_on, where_other, view(upper, lower, scale)], axis=1
    )


def _facing(upper: Floats, lower: Floats, scale: Floats, _side: str) -> Floats:
    """Where knees, feet, chest, face and hands lie along the opponent, and left against right."""
    axis = _axis(lower)
    hips = middle(upper, "hip")
    along = [
        _dot(middle(upper, "knee") - hips, axis),
        _dot(middle(upper, "ankle") - middle(upper, "knee"), axis),
        _dot(middle(upper, "shoulder") - hips, axis),
        _dot(point(upper, "nose") - hips, axis),
        _dot(middle(upper, "wrist") - hips, axis),
        _dot(hips - middle(lower, "hip"), axis),
        _dot(point(upper, "nose") - middle(upper, "shoulder"), axis),
    ]
    across = [
        _dot(_across(upper, joint), _across(lower, other)) / scale
        for joint, other in (
            ("hip", "hip"),
            ("shoulder", "shoulder"),
            ("knee", "hip"),
            ("knee", "shoulder"),
        )
    ]
    columns = np.stack([*along, *across], axis=1) / scale[:, None]
    return np.concatenate([columns, view(upper, lower, scale)], axis=1)


def _across(body: Floats, joint: str) -> Floats:
    return np.asarray(point(body, f"right_{joint}") - point(body, f"left_{joint}"))


def _upper_leg(upper: Floats, lower: Floats, scale: Floats, side: str) -> Floats:
    return np.concatenate(
        [leg_heights(upper, side, upper, lower, scale), view(upper, lower, scale)], axis=1
    )


def _arm_under_legs(upper: Floats, lower: Floats, scale: Floats, side: str) -> Floats:
    """How near elbow and wrist are to the legs astride, where they lie, how low they are."""
    elbow, wrist = point(lower, f"{side}_elbow"), point(lower, f"{side}_wrist")
    near = [
        np.fmin(*(
            to_segment(p, point(upper, f"{leg}_{a}"), point(upper, f"{leg}_{b}")) for leg in SIDES
        ))
        for p in (elbow, wrist)
        for a, b in (("hip", "knee"), ("knee", "ankle"))
    ]  # fmt: skip
    axis, hips = _axis(lower), middle(lower, "hip")
    mat, torso = lowest_y(upper, lower), torso_y(lower)
    metres = [
        *near,
        np.abs(_cross(axis, elbow - hips)),
        np.abs(_cross(axis, wrist - hips)),
        mat - elbow[:, 1],
        mat - wrist[:, 1],
        torso - elbow[:, 1],
        torso - wrist[:, 1],
    ]
    along = [np.clip(along_body(lower, p), -3.0, 4.0) for p in (elbow, wrist)]
    return np.concatenate(
        [
            np.stack(metres, axis=1) / scale[:, None],
            np.stack(along, axis=1),
            view(upper, lower, scale),
        ],
        axis=1,
    )


def _leg_between(upper: Floats, lower: Floats, scale: Floats, _side: str) -> Floats:
    """Where both feet lie against the opponent's legs, the foot nearer to his thighs first."""
    hips, knees = middle(lower, "hip"), middle(lower, "knee")
    thighs, axis = _unit(knees - hips), _axis(lower)
    found = {}
    for side in SIDES:
        knee, ankle = point(upper, f"{side}_knee"), point(upper, f"{side}_ankle")
        thigh = [(point(lower, f"{s}_hip"), point(lower, f"{s}_knee")) for s in SIDES]
        shin = [(point(lower, f"{s}_knee"), point(lower, f"{s}_ankle")) for s in SIDES]
        columns = [
            to_segment(ankle, hips, knees),
            _length(ankle - knees),
            np.fmax(*(to_segment(ankle, a, b) for a, b in thigh)),
            np.fmin(*(to_segment(ankle, a, b) for a, b in shin)),
            _dot(ankle - hips, axis),
            _dot(ankle - hips, thighs),
            np.abs(_cross(thighs, ankle - hips)),
            _dot(knee - hips, axis),
            np.abs(_cross(axis, knee - hips)),
            ankle[:, 1] - hips[:, 1],
            np.fmin(*(to_segment(point(lower, f"{s}_ankle"), knee, ankle) for s in SIDES)),
            np.fmin(*(_length(point(lower, f"{s}_knee") - ankle) for s in SIDES)),
        ]
        found[side] = np.stack(columns, axis=1)
    away = {side: np.nan_to_num(found[side][:, :1], nan=1e6) for side in SIDES}
    left = away["left"] < away["right"]
    near = np.where(left, found["left"], found["right"])
    far = np.where(left, found["right"], found["left"])
    columns = [
        _dot(middle(upper, "hip") - hips, axis),
        _length(_across(lower, "knee")),
        _length(_across(lower, "ankle")),
        _length(_across(upper, "ankle")),
    ]
    legs = np.concatenate([near, far, np.stack(columns, axis=1)], axis=1)
    return np.concatenate([legs / scale[:, None], view(upper, lower, scale)], axis=1)


def _hook(upper: Floats, lower: Floats, scale: Floats, side: str) -> Floats:
    """Where a foot lies against the opponent's thighs."""
    knee, ankle = point(upper, f"{side}_knee"), point(upper, f"{side}_ankle")
    heel = point(upper, f"{side}_heel")
    foot = np.where(np.isnan(heel), ankle, heel)
    hips, knees = middle(lower, "hip"), middle(lower, "knee")
    near_hip, near_knee = point(lower, f"{side}_hip"), point(lower, f"{side}_knee")
    far_hip, far_knee = point(lower, f"{_other(side)}_hip"), point(lower, f"{_other(side)}_knee")
    axis, thighs, out = _axis(lower), _unit(knees - hips), foot - hips
    inward = np.sign(_cross(near_knee - near_hip, far_knee - near_hip))
    thigh = np.maximum(_length(near_knee - near_hip), 1e-6)
    metres = [
        _length(foot - (hips + knees) / 2),
        _length(out),
        to_segment(foot, near_hip, near_knee),
        to_segment(foot, far_hip, far_knee),
        to_segment(foot, hips, knees),
        _length(foot - point(upper, f"{side}_hip")),
        _length(ankle - knees),
        to_segment(knee, near_hip, near_knee),
        out[:, 1],
        lowest_y(upper, lower) - foot[:, 1],
        knee[:, 1] - foot[:, 1],
        foot[:, 1] - knees[:, 1],
        _dot(out, axis),
        _dot(out, thighs),
        np.abs(_cross(thighs, out)),
        inward * _cross(near_knee - near_hip, foot - near_hip) / thigh,
        inward * _cross(near_knee - near_hip, knee - near_hip) / thigh,
    ]
    return np.concatenate(
        [np.stack(metres, axis=1) / scale[:, None], view(upper, lower, scale)], axis=1
    )


def _feet_crossed(upper: Floats, lower: Floats, scale: Floats, _side: str) -> Floats:
    """How near the ankles are to each other and to the other knee, and their order."""
    ankle = {side: point(upper, f"{side}_ankle") for side in SIDES}
    knee = {side: point(upper, f"{side}_knee") for side in SIDES}
    between = (middle(lower, "hip") + middle(lower, "knee")) / 2
    apart = ankle["right"] - ankle["left"]
    both = [
        (to_segment(ankle[s], knee[_other(s)], ankle[_other(s)]), _length(ankle[s] - between),
         _length(ankle[s] - knee[_other(s)]))
        for s in SIDES
    ]  # fmt: skip
    metres = [
        _length(apart),
        _length(_across(upper, "knee")),
        _dot(apart, _unit(_across(upper, "knee"))),
        _dot(apart, _unit(_across(upper, "hip"))),
        *(np.fmin(one, other) for one, other in zip(*both, strict=True)),
        *(np.fmax(one, other) for one, other in zip(*both, strict=True)),
    ]
    return np.concatenate(
        [np.stack(metres, axis=1) / scale[:, None], view(upper, lower, scale)], axis=1
    )


def _lower_knees(upper: Floats, lower: Floats, scale: Floats, _side: str) -> Floats:
    left, right = (leg_heights(lower, side, upper, lower, scale) for side in SIDES)
    mean = np.where(np.isnan(left), right, np.where(np.isnan(right), left, (left + right) / 2))
    return np.concatenate([mean, np.abs(left - right)[:, :3], view(upper, lower, scale)], axis=1)


def _behind(upper: Floats, lower: Floats, scale: Floats, _side: str) -> Floats:
    """Where hips, shoulders, legs and face of the upper one lie along the opponent's torso."""
    axis, shoulders = _axis(lower), middle(lower, "shoulder")
    parts = [middle(upper, joint) for joint in ("hip", "shoulder", "knee", "ankle")]
    along = [np.clip(along_body(lower, p), -3.0, 4.0) for p in (*parts, point(upper, "nose"))]
    beyond = [_dot(p - shoulders, axis) / scale for p in parts[:3]]
    same = _dot(_axis(upper), axis)
    columns = np.stack([*along, *beyond, same], axis=1)
    return np.concatenate([columns, view(upper, lower, scale)], axis=1)


_MOUNTS: Final = frozenset({Position.MOUNT, Position.BACK_MOUNT})
_ASTRIDE: Final = frozenset({Position.MOUNT, Position.HALF_GUARD})
_KNEE: Final = frozenset({Position.KNEE_ON_BELLY})
_BACK: Final = frozenset({Position.BACK_CONTROL})
_TURTLE: Final = frozenset({Position.TURTLE})

_LEGS: Final = (
    ("upper", "left_knee"), ("upper", "right_knee"), ("upper", "left_ankle"),
    ("upper", "right_ankle"),
)  # fmt: skip

QUESTIONS: Final[tuple[Question, ...]] = (
    Question("other_knee_down", "knee_on_belly", _KNEE, _knee_on_torso, False, 0.4, _LEGS),
    Question("hip_side", "knee_on_belly", _KNEE, _knee_on_torso, False, 0.85, _LEGS[:2]),
    Question("facing_head", "mount", _MOUNTS, _facing, False, 0.95),
    Question(
        "knee_down",
        "mount",
        _MOUNTS,
        _upper_leg,
        True,
        0.85,
        (("upper", "{side}_knee"), ("upper", "{side}_ankle")),
    ),
    Question(
        "arm_trapped",
        "mount",
        _MOUNTS,
        _arm_under_legs,
        True,
        0.08,
        (("lower", "{side}_elbow"), ("lower", "{side}_wrist")),
    ),
    Question("leg_trapped", "astride", _ASTRIDE, _leg_between, False, 0.5, _LEGS),
    Question("hook", "back_control", _BACK, _hook, True, 0.75, (("upper", "{side}_ankle"),)),
    Question("feet_crossed", "back_control", _BACK, _feet_crossed, False, 0.12, _LEGS[2:]),
    Question(
        "knee_of_opponent_down",
        "turtle",
        _TURTLE,
        _lower_knees,
        False,
        0.8,
        (("lower", "left_knee"), ("lower", "right_knee")),
    ),
    Question("behind_shoulder_line", "turtle", _TURTLE, _behind, False, 0.7),
)
"""All questions. ``feet_crossed`` counts a body triangle too: the feet look alike."""
