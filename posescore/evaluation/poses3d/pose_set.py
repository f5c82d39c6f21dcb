"""The open set of two-person grappling poses in 3D: reading, splitting, purging.

The set is never part of the project. Its path is the environment variable ``POSESCORE_POSES3D``.

Frames of one *entry* belong together and are never divided between training and test. Entries
share end frames, so a split by entry alone still leaks: :func:`nearest_distance_m` finds how far
a test frame is from the nearest training frame whatever way the pair is turned, mirrored, or its
athletes exchanged, and tests drop what is nearer than :data:`PURGE_DISTANCE_M`.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Final
from zipfile import BadZipFile

import numpy as np
from numpy.typing import NDArray

from posescore.errors import MissingPartError
from posescore.terms import STATES, Athlete, Position, State

PATH_VARIABLE: Final = "POSESCORE_POSES3D"
PURGE_DISTANCE_M: Final = 0.05
"""Mean distance of joints under which two frames count as the same pose."""

DISTANCE_BINS_M: Final[tuple[float, ...]] = (0.05, 0.10, 0.20, np.inf)
"""Edges of the bins in which results are reported: novel poses are the hard ones."""

JOINTS: Final[tuple[str, ...]] = (
    "left_toe", "right_toe", "left_heel", "right_heel", "left_ankle", "right_ankle",
    "left_knee", "right_knee", "left_hip", "right_hip", "left_shoulder", "right_shoulder",
    "left_elbow", "right_elbow", "left_wrist", "right_wrist", "left_hand", "right_hand",
    "left_fingers", "right_fingers", "core", "neck", "head",
)  # fmt: skip
"""The set's joints, in its order."""

JOINT: Final = {name: index for index, name in enumerate(JOINTS)}
MIRRORED_JOINTS: Final[tuple[int, ...]] = tuple(
    JOINT[
        name.replace("left_", "right_")
        if name.startswith("left_")
        else name.replace("right_", "left_")
    ]
    for name in JOINTS
)

_LABELS: Final = {
    str(position): position
    for position in Position
    if position not in (Position.BACK_CONTROL, Position.BACK_MOUNT, Position.SCRAMBLE)
}


@dataclass(frozen=True, slots=True, eq=False)
class PoseSet:
    """Frames of two athletes in 3D.

    Parameters
    ----------
    joints_m
        ``(n_frames, 2, 23, 3)`` float32, metres, z up; axis 2 follows :data:`JOINTS`.
    entry
        ``(n_frames,)`` int64: frames of one entry belong together.
    state
        ``(n_frames,)`` int64: index into :data:`posescore.terms.STATES`, or -1 where the set
        names no position. Slot 0 is A.
    """

    joints_m: NDArray[np.float32]
    entry: NDArray[np.int64]
    state: NDArray[np.int64]

    def __len__(self) -> int:
        return len(self.entry)

    def take(self, rows: NDArray[np.bool_] | NDArray[np.int64]) -> PoseSet:
        """The frames of a mask or of an array of indices."""
        return PoseSet(self.joints_m[rows], self.entry[rows], self.state[rows])

    @property
    def labelled(self) -> PoseSet:
        """The frames whose position the set names."""
        return self.take(self.state >= 0)


def pose_set_path(path: Path | str | None = None) -> Path:
    """Where the set lies: the argument, else ``POSESCORE_POSES3D``.

    Raises
    ------
    MissingPartError
        When neither names a place.
    """
    named = path or os.environ.get(PATH_VARIABLE)
    if not named:
        raise MissingPartError(f"The open pose set: set {PATH_VARIABLE} to a poses3d.npz.")
    return Path(named)


def load_pose_set(path: Path | str | None = None) -> PoseSet:
    """Read the set; the label ``back`` becomes back mount or back control by geometry.

    Raises
    ------
    MissingPartError
        When the file is absent or is not such a set.
    """
    source = pose_set_path(path)
    if not source.is_file():
        raise MissingPartError(
            f"The open pose set is not at {source}: set {PATH_VARIABLE} to a poses3d.npz."
        )
    try:
        with source.open("rb") as file, np.load(file, allow_pickle=False) as data:
            joints_m = np.asarray(data["frames"], np.float32)
            entry = np.asarray(data["entry"], np.int64)
            label = [str(name) for name in data["label"]]
            upper = np.asarray(data["upper"], np.int64)
            joints = tuple(str(name) for name in data["joints"])
    except (OSError, KeyError, ValueError, EOFError, BadZipFile) as error:
        raise MissingPartError(f"{source} is not a pose set (poses3d.npz).") from error
    if joints != JOINTS or joints_m.shape != (len(label), 2, len(JOINTS), 3):
        raise MissingPartError(f"{source} holds other joints than this version reads.")
    return PoseSet(joints_m, entry, _states(joints_m, label, upper))


def _states(
    joints_m: NDArray[np.float32], label: list[str], upper: NDArray[np.int64]
) -> NDArray[np.int64]:
    index = {state: i for i, state in enumerate(STATES)}
    state = np.full(len(label), -1, np.int64)
    for row, name in enumerate(label):
        if name == "back":
            athlete = Athlete.of_slot(int(upper[row]))
            lower = joints_m[row, athlete.other.slot]
            face_down = bool(chest_direction(lower)[2] < -0.5)
            position = Position.BACK_MOUNT if face_down else Position.BACK_CONTROL
            state[row] = index[State(position, athlete)]
        elif name in _LABELS:
            position = _LABELS[name]
            named = Athlete.of_slot(int(upper[row])) if position.has_upper else None
            state[row] = index[State(position, named)]
    return state


def chest_direction(joints_m: NDArray[np.float32]) -> NDArray[np.float64]:
    """Unit vector out of the chest, ``(..., 3)``, of athletes ``(..., 23, 3)``."""
    left = joints_m[..., JOINT["left_shoulder"], :] - joints_m[..., JOINT["right_shoulder"], :]
    hips = joints_m[..., JOINT["left_hip"], :] + joints_m[..., JOINT["right_hip"], :]
    up = joints_m[..., JOINT["neck"], :] - hips / 2
    out = np.cross(left.astype(np.float64), up)
    length = np.linalg.norm(out, axis=-1, keepdims=True)
    return np.asarray(out / np.maximum(length, 1e-9), np.float64)


def mirrored(joints_m: NDArray[np.float32]) -> NDArray[np.float32]:
    """The mirror image of frames ``(..., 23, 3)``: x negated, left and right exchanged."""
    image = joints_m[..., MIRRORED_JOINTS, :].copy()
    image[..., 0] *= -1
    return image


def swapped_states() -> NDArray[np.int64]:
    """``(n_states,)``: index of the state that each becomes when A and B are exchanged."""
    index = {state: i for i, state in enumerate(STATES)}
    return np.array([index[state.swapped] for state in STATES], np.int64)


def split_entries(
    entry: NDArray[np.int64], held_back: float = 0.2, seed: int = 0
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Masks ``(n,)`` of training and held-back frames; no entry is in both."""
    names = np.unique(entry)
    chosen = np.random.default_rng(seed).permutation(names)[: round(held_back * len(names))]
    test = np.isin(entry, chosen)
    return ~test, test


@dataclass(frozen=True, slots=True, eq=False)
class Alignment:
    """Every frame of one array against every frame of another, at its closest.

    Parameters
    ----------
    rms_m
        ``(n, m)`` root mean square distance of joints in metres, after the turn about the
        vertical and the horizontal shift that bring them closest, as it is, mirrored, with the
        athletes exchanged, or both, whichever is closest.
    turn
        ``(n, m)`` complex of size 1: the turn of the second frame.
    is_mirrored, swapped
        ``(n, m)`` which of the four was closest.
    """

    rms_m: NDArray[np.float32]
    turn: NDArray[np.complex64]
    is_mirrored: NDArray[np.bool_]
    swapped: NDArray[np.bool_]
    first_m: NDArray[np.float32]
    second_m: NDArray[np.float32]

    def aligned(self, first: NDArray[np.int64], second: NDArray[np.int64]) -> NDArray[np.float32]:
        """Frames ``second`` brought onto frames ``first``, ``(k, 2, 23, 3)``."""
        frames = self.second_m[second]
        there = self.is_mirrored[first, second][:, None, None, None]
        frames = np.where(there, mirrored(frames), frames)
        exchanged = self.swapped[first, second][:, None, None, None]
        frames = np.where(exchanged, frames[:, ::-1], frames)
        flat, _ = _planar(frames)
        home = self.first_m[first][..., :2].mean((1, 2))
        flat = flat * self.turn[first, second][:, None]
        out = frames.copy()
        out[..., 0] = flat.real.reshape(frames.shape[:3]) + home[:, None, None, 0]
        out[..., 1] = flat.imag.reshape(frames.shape[:3]) + home[:, None, None, 1]
        return out


def alignment(first_m: NDArray[np.float32], second_m: NDArray[np.float32]) -> Alignment:
    """Compare all frames ``(n, 2, 23, 3)`` with all frames ``(m, 2, 23, 3)``.

    Horizontal positions are complex numbers x + iy, so that the best turn is the angle of their
    inner product and all pairs are one matrix product. Heights are compared as they are.
    """
    flat, height = _planar(first_m)
    square = np.full((len(first_m), len(second_m)), np.inf, np.float32)
    turn = np.zeros(square.shape, np.complex64)
    is_mirrored, swapped = np.zeros(square.shape, bool), np.zeros(square.shape, bool)
    for mirror in (False, True):
        image = mirrored(second_m) if mirror else second_m
        for swap in (False, True):
            other_flat, other_height = _planar(image[:, ::-1] if swap else image)
            inner = flat @ other_flat.conj().T
            apart = _size2(other_flat, other_height) - 2 * np.abs(inner)
            apart += _size2(flat, height)[:, None] - 2 * height @ other_height.T
            closer = apart < square
            square = np.where(closer, apart, square)
            turn = np.where(closer, inner / np.maximum(np.abs(inner), 1e-12), turn)
            is_mirrored, swapped = (
                np.where(closer, mirror, is_mirrored),
                np.where(closer, swap, swapped),
            )
    rms = np.sqrt(np.maximum(square, 0) / flat.shape[1])
    return Alignment(rms, turn, is_mirrored, swapped, first_m, second_m)


def _planar(frames_m: NDArray[np.float32]) -> tuple[NDArray[np.complex64], NDArray[np.float32]]:
    points = frames_m.reshape(len(frames_m), -1, 3)
    flat = (points[..., 0] + 1j * points[..., 1]).astype(np.complex64)
    return flat - flat.mean(axis=1, keepdims=True), points[..., 2].astype(np.float32)


def _size2(flat: NDArray[np.complex64], height: NDArray[np.float32]) -> NDArray[np.float32]:
    return np.asarray((np.abs(flat) ** 2).sum(1) + (height**2).sum(1), np.float32)


def nearest_distance_m(
    frames_m: NDArray[np.float32], among_m: NDArray[np.float32], candidates: int = 8
) -> NDArray[np.float64]:
    """How far each frame is from the nearest of others, ``(n,)`` metres, mean over joints.

    The ``candidates`` nearest by root mean square (see :func:`alignment`) are compared by mean
    distance of joints, so the result is at most a hair above the true minimum. Infinite where
    ``among_m`` is empty.
    """
    if not len(among_m):
        return np.full(len(frames_m), np.inf)
    near = alignment(frames_m, among_m)
    count = min(candidates, len(among_m))
    nearest = np.argpartition(near.rms_m, count - 1, axis=1)[:, :count]
    best = np.full(len(frames_m), np.inf)
    rows = np.arange(len(frames_m))
    home = frames_m[..., :2].mean((1, 2))[:, None, None]
    centred = frames_m.astype(np.float64)
    centred[..., :2] -= home
    for column in nearest.T:
        partner = near.aligned(rows, column)
        partner[..., :2] -= home
        apart = np.linalg.norm(centred - partner, axis=-1).mean((1, 2))
        best = np.minimum(best, apart)
    return best
