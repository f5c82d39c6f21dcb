"""What pose estimators get wrong, drawn at random on keypoints that are right.

An estimator sees little of two people in contact. Where a body hides a keypoint the guess is
worse; it takes a keypoint of the other athlete for its own, left for right, or a spot elsewhere;
it leaves keypoints out, sometimes a whole athlete. Its confidence follows its error loosely, and
some formats carry none. How bad all this is differs from frame to frame as footage does.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.terms import KEYPOINT_INDEX as K
from posescore.terms import MIRRORED_KEYPOINTS, N_COCO

# Limbs and trunk as capsules: two ends and the radius in metres of a clothed adult.
_LIMBS: Final = (
    ("shoulder", "elbow", 0.06),
    ("elbow", "wrist", 0.05),
    ("hip", "knee", 0.085),
    ("knee", "ankle", 0.06),
    ("shoulder", "hip", 0.12),
)
CAPSULES: Final = (
    *(
        (K[f"{side}_{start}"], K[f"{side}_{end}"], radius)
        for side in ("left", "right")
        for start, end, radius in _LIMBS
    ),
    (K["left_shoulder"], K["right_hip"], 0.12),
    (K["left_ear"], K["right_ear"], 0.10),
)
BEHIND_M: Final = 0.12
"""A keypoint is hidden by what is at least this much nearer to the camera."""

ARMS: Final = tuple(
    K[f"{s}_{j}"] for s in ("left", "right") for j in ("shoulder", "elbow", "wrist")
)
LEGS: Final = tuple(
    K[f"{s}_{j}"] for s in ("left", "right") for j in ("hip", "knee", "ankle", "heel", "toe")
)


@dataclass(frozen=True, slots=True)
class ErrorRates:
    """How often and how far an estimator errs; ranges are drawn anew for every frame.

    Lengths are fractions of the pair's size: the longer side of the box around both athletes.
    The defaults span estimators from good to poor on tangled pairs.
    """

    noise: tuple[float, float] = (0.003, 0.028)
    """Standard deviation of a visible keypoint."""
    hidden_factor: float = 2.5
    """How many times worse a hidden keypoint is."""
    outliers: tuple[float, float] = (0.0, 0.20)
    missing: tuple[float, float] = (0.0, 0.15)
    """Probability that a visible keypoint is left out; twice that for a hidden one."""
    body_flip: float = 0.05
    limb_flip: float = 0.05
    athlete_missing: float = 0.03
    no_feet: float = 0.45
    """Frames of estimators that know no heels and toes."""
    no_confidence: float = 0.4
    """Frames whose confidence says nothing."""
    slot_swap: float = 0.0


def hidden(
    keypoints_px: NDArray[np.float32],
    depth_m: NDArray[np.float32],
    px_per_m: NDArray[np.float32],
) -> NDArray[np.bool_]:
    """Which keypoints a body hides, ``(n, 2, 21)``.

    Limbs and trunks are capsules in the picture; ``px_per_m`` ``(n,)`` is how large a metre at
    the pair is seen. A keypoint is hidden where a capsule that it is not an end of covers it
    nearer to the camera.
    """
    count = len(keypoints_px)
    point = keypoints_px.reshape(count, 42, 2)
    depth = depth_m.reshape(count, 42)
    covered = np.zeros((count, 42), bool)
    for athlete in (0, 21):
        for start, end, radius in CAPSULES:
            a, b = point[:, athlete + start, None], point[:, athlete + end, None]
            along = b - a
            length2 = np.maximum((along**2).sum(-1), 1e-6)
            part = np.clip(((point - a) * along).sum(-1) / length2, 0, 1)
            apart2 = ((point - a - part[..., None] * along) ** 2).sum(-1)
            near = depth[:, athlete + start, None] * (1 - part)
            near = near + depth[:, athlete + end, None] * part
            over = (apart2 < (radius * px_per_m[:, None]) ** 2) & (near < depth - BEHIND_M)
            over[:, [athlete + start, athlete + end]] = False
            covered |= over
    return covered.reshape(count, 2, 21)


def estimate_badly(
    keypoints_px: NDArray[np.float32],
    is_hidden: NDArray[np.bool_],
    rng: np.random.Generator,
    rates: ErrorRates | None = None,
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Keypoints ``(n, 2, 21, 2)`` as an estimator might give them, and its confidence.

    Missing keypoints and their confidence are NaN. ``is_hidden`` is ``(n, 2, 21)``.
    """
    rates = rates or ErrorRates()
    count = len(keypoints_px)
    size = pair_size_px(keypoints_px)
    guess = _flip_sides(keypoints_px, rng, rates)
    sd = rng.uniform(*rates.noise, (count, 1, 1)) * np.where(is_hidden, rates.hidden_factor, 1.0)
    heavy = np.exp(0.5 * rng.standard_normal(sd.shape, np.float32))
    offset = (sd * heavy * size[:, None, None])[..., None] * rng.standard_normal(guess.shape)
    guess = (guess + offset).astype(np.float32)
    guess = _outliers(guess, keypoints_px, rng, rates)
    error = np.linalg.norm(guess - keypoints_px, axis=-1) / size[:, None, None]
    confidence = _confidence(error, is_hidden, rng, rates)
    gone = _missing(is_hidden, rng, rates)
    guess[gone] = np.nan
    confidence[gone] = np.nan
    swap = rng.random(count) < rates.slot_swap
    guess[swap], confidence[swap] = guess[swap, ::-1], confidence[swap, ::-1]
    return guess, confidence


def pair_size_px(keypoints_px: NDArray[np.float32]) -> NDArray[np.float32]:
    """Longer side of the box around both athletes, ``(n,)`` pixels."""
    points = keypoints_px.reshape(len(keypoints_px), -1, 2)
    return np.asarray((points.max(1) - points.min(1)).max(1), np.float32)


def spoil_evenly(
    true_px: NDArray[np.float32],
    rng: np.random.Generator,
    noise: float | NDArray[np.float64] = 0.02,
    outliers: float | NDArray[np.float64] = 0.10,
    *,
    of_athlete: bool = False,
) -> NDArray[np.float32]:
    """Keypoints ``(n, 2, k, 2)`` with the same errors everywhere, whatever is hidden.

    Parameters
    ----------
    true_px
        Keypoints that are right.
    rng
        Draws everything.
    noise
        Standard deviation, one or one a frame, as a fraction of the longer side of the box
        around the pair.
    outliers
        Share of keypoints put anywhere in that box.
    of_athlete
        Measure noise against each athlete instead: the square root of the area of the box.
    """
    count = len(true_px)
    points = true_px.reshape(count, -1, 2)
    low, high = points.min(1)[:, None, None], points.max(1)[:, None, None]
    size = np.broadcast_to((high - low).max(-1), (count, 2, 1))
    if of_athlete:
        size = np.sqrt(np.prod(true_px.max(2) - true_px.min(2), axis=-1))[..., None]
    sd = np.broadcast_to(noise, count)[:, None, None] * size
    given = true_px + sd[..., None] * rng.standard_normal(true_px.shape)
    wrong = rng.random(true_px.shape[:3]) < np.broadcast_to(outliers, count)[:, None, None]
    given = np.where(wrong[..., None], rng.uniform(low, high, true_px.shape), given)
    return np.asarray(given, np.float32)


def _flip_sides(
    keypoints_px: NDArray[np.float32], rng: np.random.Generator, rates: ErrorRates
) -> NDArray[np.float32]:
    guess = keypoints_px.copy()
    shape = guess.shape[:2]
    body = rng.random(shape) < rates.body_flip
    for part in (ARMS, LEGS):
        flip = body ^ (rng.random(shape) < rates.limb_flip)
        other = [MIRRORED_KEYPOINTS[k] for k in part]
        exchanged = guess[:, :, other]
        guess[:, :, list(part)] = np.where(
            flip[..., None, None], exchanged, guess[:, :, list(part)]
        )
    face = list(range(1, 5))
    exchanged = guess[:, :, [MIRRORED_KEYPOINTS[k] for k in face]]
    guess[:, :, face] = np.where(body[..., None, None], exchanged, guess[:, :, face])
    return guess


def _outliers(
    guess: NDArray[np.float32],
    truth: NDArray[np.float32],
    rng: np.random.Generator,
    rates: ErrorRates,
) -> NDArray[np.float32]:
    """Replace some keypoints: anywhere in the box, the opponent's, the other side's, near by."""
    count = len(guess)
    rate = rng.uniform(*rates.outliers, (count, 1, 1))
    chosen = rng.random(guess.shape[:3]) < rate
    points = truth.reshape(count, -1, 2)
    low, high = points.min(1)[:, None, None], points.max(1)[:, None, None]
    margin = 0.05 * (high - low)
    anywhere = rng.uniform(low - margin, high + margin, guess.shape)
    size = pair_size_px(truth)[:, None, None, None]
    near_by = guess + 0.15 * size * rng.standard_normal(guess.shape)
    kinds = (anywhere, truth[:, ::-1], truth[:, :, MIRRORED_KEYPOINTS], near_by)
    kind = rng.choice(4, p=(0.65, 0.13, 0.09, 0.13), size=guess.shape[:3])
    wrong = np.choose(kind[..., None], kinds)
    return np.where(chosen[..., None], wrong, guess).astype(np.float32)


def _confidence(
    error: NDArray[np.float32],
    is_hidden: NDArray[np.bool_],
    rng: np.random.Generator,
    rates: ErrorRates,
) -> NDArray[np.float32]:
    """Falls with the error and where hidden, with noise of its own; 1 where it says nothing."""
    level = 1.0 - 0.25 * rng.random((len(error), 1, 1)) - 0.35 * is_hidden
    fall = np.exp(-((error / 0.08) ** 2))
    trust = rng.uniform(0.3, 1.0, (len(error), 1, 1))
    confidence = level * (1 - trust + trust * fall) + 0.1 * rng.standard_normal(error.shape)
    silent = rng.random(len(error)) < rates.no_confidence
    confidence[silent] = 1.0
    return np.asarray(np.clip(confidence, 0.01, 1.0), np.float32)


def _missing(
    is_hidden: NDArray[np.bool_], rng: np.random.Generator, rates: ErrorRates
) -> NDArray[np.bool_]:
    count = len(is_hidden)
    rate = rng.uniform(*rates.missing, (count, 1, 1)) * np.where(is_hidden, 2.0, 1.0)
    gone = rng.random(is_hidden.shape) < rate
    gone |= (rng.random((count, 2)) < rates.athlete_missing)[..., None]
    no_feet = rng.random(count) < rates.no_feet
    gone[no_feet, :, N_COCO:] = True
    return gone
