"""What the model in time learns from: walked matches as it sees them, with what is true of them."""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cache
from itertools import pairwise
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import NDArray

from posescore.holds.event import EventName
from posescore.holds.events.inference import AFTER_S, BEFORE_S
from posescore.holds.film.features import Features, features_of
from posescore.holds.film.instants import INSTANT_S, instants_of
from posescore.holds.film.outputs import CRITERIA, way_down
from posescore.lab.walks import Graph, WalkedMatch, errors, load_graph, seen, walk
from posescore.lab.walks.graph import Keys
from posescore.lab.walks.motion import FPS
from posescore.lab.walks.pass_errors import shipped_figures
from posescore.lab.walks.truth import ASKED, SIDED
from posescore.terms import Position, State

UNCLEAR: Final = 2
"""Of a criterion: asked of the hold, but unclear in this instant."""
NOT_ASKED: Final = -1
LEFT_OUT: Final = 8
"""Every eighth training entry is left out of learning: what is calibrated, is so on these."""
VIEWS: Final = 2
"""Cameras, each with errors of its own, that every match is seen by."""
AMOUNTS: Final = (0.1, 1.0, 2.2)
"""How bad a view is: nearly without errors, as recorded, as of footage that is too poor."""
OFTEN: Final = (0.1, 0.75, 0.15)
Part = Literal["learn", "left_out", "train", "test"]
Seed = tuple[int, ...]
_STANDING: Final = State(Position.STANDING)


@dataclass(frozen=True, slots=True, eq=False)
class Material:
    """One match, an instant a row.

    Parameters
    ----------
    poses, motion
        Of :class:`posescore.holds.film.features.Features`, half precision.
    state
        ``(n,)`` int8: index into :data:`posescore.terms.STATES`; -1 where it is unclear.
    hold, passage
        ``(n,)`` int16: number of the hold, or of the passage between two holds; -1 elsewhere.
    upper
        ``(n,)`` int8: slot of the hold's upper athlete, 0 where there is none.
    criteria
        ``(n, n_criteria)`` int8: 1 yes, 0 no, 2 asked but unclear, -1 not asked.
    way
        ``(n,)`` int8: who brought a passage from the feet to the mat about, of
        :func:`posescore.holds.film.outputs.way_down`; -1 in other passages.
    given_up
        ``(n,)`` int8: whether the upper athlete of the hold before gave it up; -1 not asked.
    giver
        ``(n,)`` int8: that athlete's slot.
    """

    poses: NDArray[np.float16]
    motion: NDArray[np.float16]
    state: NDArray[np.int8]
    hold: NDArray[np.int16]
    passage: NDArray[np.int16]
    upper: NDArray[np.int8]
    criteria: NDArray[np.int8]
    way: NDArray[np.int8]
    given_up: NDArray[np.int8]
    giver: NDArray[np.int8]

    def __len__(self) -> int:
        return len(self.state)


NAMES: Final = tuple(field.name for field in fields(Material))


@cache
def graph_of(part: Part) -> Graph:
    """The graph of a part of the open set; ``learn`` and ``left_out`` divide the training part."""
    if part in ("train", "test"):
        return load_graph(part)
    whole = load_graph("train")
    left = part == "left_out"
    keys = {position: _taken(keys, left) for position, keys in whole.keys.items()}
    legs = {
        node: tuple(leg for leg in legs if (leg.entry % LEFT_OUT == 0) == left)
        for node, legs in whole.legs.items()
    }
    return Graph(keys, legs, whole.named, whole.entries)


def _taken(keys: Keys, left: bool) -> Keys:
    """Key poses that are left out, or the others; all where one side would have hardly any."""
    out = keys.entry % LEFT_OUT == 0
    rows = np.flatnonzero(out == left)
    if len(np.unique(keys.entry[rows])) < 2:
        rows = np.arange(len(keys))
    criteria = {name: answer[rows] for name, answer in keys.criteria.items()}
    return Keys(
        keys.joints_m[rows], keys.entry[rows], keys.place[rows], keys.turned[rows], criteria
    )


def walked(part: Part, seed: Seed) -> tuple[WalkedMatch, np.random.Generator] | None:
    """A match, and what to draw the rest with; None where many draws had no settled truth."""
    rng = np.random.default_rng(seed)
    try:
        return walk(graph_of(part), rng, (60.0, 150.0)), rng
    except RuntimeError:
        return None


def material_of(part: Part, seed: Seed) -> list[Material]:
    """One walked match as several cameras see it, with errors that differ from view to view."""
    one = walked(part, seed)
    if one is None:
        return []
    match, rng = one
    found = []
    for _ in range(VIEWS):
        view = seen(match, rng)
        amount = float(np.exp(0.4 * rng.standard_normal()) * rng.choice(AMOUNTS, p=OFTEN))
        track = errors(view.track, view.visible, rng, _other_figures(rng), amount)
        found.append(with_truth(match, features_of(instants_of(track)), rng))
    return found


def _other_figures(rng: np.random.Generator) -> dict[str, Any]:
    """Figures of the pass's errors, sizes and rates up to a factor of about two off."""
    told = dict(shipped_figures())
    for name, value in told.items():
        if name.startswith("noise") or "_per_s" in name or name.endswith("_s"):
            told[name] = (float(np.exp(0.4 * rng.standard_normal())) * np.array(value)).tolist()
    return told


def with_truth(match: WalkedMatch, features: Features, rng: np.random.Generator) -> Material:
    """What is true of a match beside what is seen of it; ends of passages are drawn."""
    n = len(features)
    frame = np.minimum(((np.arange(n) + 0.5) * INSTANT_S * FPS).astype(int), len(match.state) - 1)
    rows = {name: np.full(n, -1, np.int16) for name in ("hold", "passage", "way", "given_up")}
    upper, giver = np.zeros(n, np.int8), np.zeros(n, np.int8)
    criteria = np.full((n, len(CRITERIA)), NOT_ASKED, np.int8)
    for number, hold in enumerate(match.holds):
        here = _rows(hold.start_s, hold.end_s, n)
        rows["hold"][here] = number
        if hold.upper is not None:
            upper[here] = hold.upper.slot
            criteria[here] = _answers(match, frame[here], hold.position)
    _mark_passages(match, rows, giver, rng)
    return Material(
        features.poses.astype(np.float16),
        features.motion.astype(np.float16),
        match.state[frame].astype(np.int8),
        rows["hold"],
        rows["passage"],
        upper,
        criteria,
        rows["way"].astype(np.int8),
        rows["given_up"].astype(np.int8),
        giver,
    )


def _mark_passages(
    match: WalkedMatch,
    rows: dict[str, NDArray[np.int16]],
    giver: NDArray[np.int8],
    rng: np.random.Generator,
) -> None:
    """Who brought it about, or gave it up, in every passage from one hold to the next."""
    for number, (before, after) in enumerate(pairwise(match.holds)):
        if after.start_s - before.end_s < 0.1:
            continue
        here = _rows(
            before.end_s - BEFORE_S - rng.uniform(-0.2, 0.3),
            after.start_s + AFTER_S + rng.uniform(-0.3, 0.3),
            len(giver),
        )
        rows["passage"][here] = number
        between = [e for e in match.events if before.end_s - 0.1 <= e.time_s <= after.start_s + 0.1]
        if before.state == _STANDING and after.upper is not None:
            rows["way"][here] = way_down(between)
        elif before.upper is not None:
            giver[here] = before.upper.slot
            rows["given_up"][here] = any(
                e.event is EventName.POSITION_GIVEN_UP and e.athlete is before.upper
                for e in between
            )


def _rows(start_s: float, end_s: float, n: int) -> slice:
    first = int(np.clip(round(start_s / INSTANT_S), 0, n))
    return slice(first, int(np.clip(round(end_s / INSTANT_S), first, n)))


def _answers(match: WalkedMatch, frame: NDArray[np.int64], position: Position) -> NDArray[np.int8]:
    found = np.full((len(frame), len(CRITERIA)), NOT_ASKED, np.int8)
    for column, (name, side) in enumerate(CRITERIA):
        if position in ASKED[name]:
            answer = match.criteria[name][frame]
            if SIDED[name]:
                answer = answer[:, side]
            found[:, column] = np.where(answer < 0, UNCLEAR, answer)
    return found
