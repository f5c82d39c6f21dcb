"""Measures the shipped program behind the pose pass on walked matches.

    python -m posescore.lab.walks.measure [--count 30] [--entries test] [--processes 2]

Every match is walked, seen and read with the pass's errors, then goes the shipped way from track
to proposals. Intervals are bootstraps over matches (2.5 to 97.5 %).
"""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from itertools import groupby
from typing import Any, Final

import click
import numpy as np
from numpy.typing import NDArray

from posescore.holds.event import EventName, MatchEvent
from posescore.holds.hold import CheckName, Hold
from posescore.lab.walks import errors, load_graph, seen, truth_json, walk
from posescore.lab.walks.graph import Entries
from posescore.lab.walks.making import SCRAMBLE
from posescore.lab.walks.motion import FPS
from posescore.lab.walks.telling import EARNED, failed_criterion
from posescore.lab.walks.walking import WalkedMatch
from posescore.pose.track import PairTrack
from posescore.scoring.engine import propose
from posescore.scoring.proposal import Proposal
from posescore.scoring.rules import RuleSet
from posescore.terms import STATES

WITHIN_S: Final = 2.0
"""A proposal may come this much before or after the true award."""
EVENT_WITHIN_S: Final = 3.0
RESAMPLES: Final = 1000
BINS: Final = 10
HELD: Final = "held for 3 seconds"
_TELLING: Final = {*(str(name) for name in CheckName), "leg_trapped", HELD}
_BROUGHT: Final = (EventName.TAKEDOWN_ATTEMPT, EventName.GUARD_PULL)

Read = Callable[[PairTrack], tuple[Sequence[Hold], Sequence[MatchEvent]]]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What was found in one match.

    ``awards``: kind, whether it was found. ``proposed``: kind, confidence, whether it is right.
    ``misses``: failed criterion, whether the same one was named. ``brought``: true event, whether
    the same event of the same athlete was inferred. ``held``: frames, frames rightly named.
    """

    seed: int
    awards: list[tuple[str, bool]] = field(default_factory=list)
    proposed: list[tuple[str, float, bool]] = field(default_factory=list)
    misses: list[tuple[str, bool]] = field(default_factory=list)
    brought: list[tuple[str, bool]] = field(default_factory=list)
    held: tuple[int, int] = (0, 0)


def shipped(track: PairTrack) -> tuple[Sequence[Hold], Sequence[MatchEvent]]:
    """The shipped way from a track to holds and events."""
    from posescore.analysis.pipeline import read_positions

    reading = read_positions(track)
    return reading.holds, reading.events


def outcome_of(
    seed: int,
    entries: Entries = "test",
    read: Read = shipped,
    length_s: tuple[float, float] = (60, 180),
) -> Outcome:
    """Walk, see, spoil and read one match, and compare."""
    rng = np.random.default_rng((2024, seed))
    match = walk(load_graph(entries), rng, length_s)
    view = seen(match, rng)
    track = errors(view.track, view.visible, rng)
    holds, events = read(track)
    ruling = propose(holds, events, RuleSet.load(), end_s=track.end_s)
    return compared(seed, match, holds, events, ruling.proposals)


def compared(
    seed: int,
    match: WalkedMatch,
    holds: Sequence[Hold],
    events: Sequence[MatchEvent],
    proposals: Sequence[Proposal],
) -> Outcome:
    """What was found of one match."""
    truth = truth_json(match)
    return compared_to(seed, truth, match.state, match.events, holds, events, proposals)


def compared_to(
    seed: int,
    truth: Mapping[str, Any],
    state: NDArray[np.int64],
    true_events: Sequence[MatchEvent],
    holds: Sequence[Hold],
    events: Sequence[MatchEvent],
    proposals: Sequence[Proposal],
) -> Outcome:
    """What was found of a truth as :func:`posescore.lab.walks.telling.truth_json` tells it.

    ``state (n,)`` is the true state, 30 frames a second, -1 where it is unclear.
    """
    given = [p for p in proposals if p.points and p.kind in EARNED]
    right = [False] * len(given)
    awards = []
    for award in truth["awards"]:
        near = [
            k for k, p in enumerate(given)
            if not right[k] and (p.athlete, p.kind) == (award["athlete"], award["kind"])
            and abs(p.time_s - award["time_s"]) <= WITHIN_S
        ]  # fmt: skip
        if near:
            best = min(near, key=lambda k: abs(given[k].time_s - award["time_s"]))
            right[best] = True
        awards.append((award["kind"], bool(near)))
    return Outcome(
        seed,
        awards,
        [(str(p.kind), p.confidence, ok) for p, ok in zip(given, right, strict=True)],
        _misses(truth, proposals),
        _brought(true_events, events),
        _held(state, holds),
    )


def _misses(truth: Mapping[str, Any], proposals: Sequence[Proposal]) -> list[tuple[str, bool]]:
    said = [(p, failed_criterion(p)) for p in proposals if not p.points and p.would_be]
    rows = []
    for miss in truth["nothings"]:
        failed = miss["failed_criterion"]
        if failed not in _TELLING:
            continue
        named = any(
            (p.athlete, p.would_be, name) == (miss["athlete"], miss["would_be"], failed)
            and p.evidence.start_s <= miss["end_s"] + WITHIN_S
            and p.evidence.end_s >= miss["start_s"] - WITHIN_S
            for p, name in said
        )
        rows.append((failed, named))
    return rows


def _brought(true: Sequence[MatchEvent], events: Sequence[MatchEvent]) -> list[tuple[str, bool]]:
    said = [e for e in events if e.event in _BROUGHT]
    rows = []
    for event in true:
        if event.event in _BROUGHT:
            near = [e for e in said if abs(e.time_s - event.time_s) <= EVENT_WITHIN_S]
            best = min(near, key=lambda e: abs(e.time_s - event.time_s), default=None)
            same = best is not None and (best.event, best.athlete) == (event.event, event.athlete)
            rows.append((str(event.event), same))
    return rows


def _held(state: NDArray[np.int64], holds: Sequence[Hold]) -> tuple[int, int]:
    said, middle_s = np.full(len(state), SCRAMBLE), (np.arange(len(state)) + 0.5) / FPS
    for hold in holds:
        inside = (middle_s >= hold.start_s) & (middle_s < hold.end_s)
        said[inside] = STATES.index(hold.state)
    asked = (state >= 0) & (state != SCRAMBLE)
    return int(asked.sum()), int((asked & (said == state)).sum())


def calibration_error(proposed: Sequence[tuple[str, float, bool]]) -> float:
    """Expected calibration error of proposals, in :data:`BINS` bins."""
    if not proposed:
        return float("nan")
    sure = np.array([p[1] for p in proposed])
    right = np.array([p[2] for p in proposed], np.float64)
    cell = np.minimum((sure * BINS).astype(int), BINS - 1)
    parts = [
        (cell == k).mean() * abs(sure[cell == k].mean() - right[cell == k].mean())
        for k in np.unique(cell)
    ]
    return float(sum(parts))


def interval(
    outcomes: Sequence[Outcome], figure: Callable[[Sequence[Outcome]], float]
) -> tuple[float, float, float]:
    """A figure over all matches and its bootstrap interval."""
    rng = np.random.default_rng(0)
    draws = [
        figure([outcomes[k] for k in rng.integers(0, len(outcomes), len(outcomes))])
        for _ in range(RESAMPLES)
    ]
    known = [d for d in draws if np.isfinite(d)]
    low, high = np.percentile(known, [2.5, 97.5]) if known else (float("nan"), float("nan"))
    return figure(outcomes), float(low), float(high)


def _share(name: str, part: str, outcomes: Sequence[Outcome]) -> float:
    rows = [row for o in outcomes for row in getattr(o, part) if name in ("", row[0])]
    return float(np.mean([row[-1] for row in rows])) if rows else float("nan")


def _held_share(outcomes: Sequence[Outcome]) -> float:
    return sum(o.held[1] for o in outcomes) / max(1, sum(o.held[0] for o in outcomes))


def _calibration(outcomes: Sequence[Outcome]) -> float:
    return calibration_error([p for o in outcomes for p in o.proposed])


def table(outcomes: Sequence[Outcome]) -> str:
    """The figures as text."""
    lines = [f"{len(outcomes)} matches", f"{'':<26}{'found':>9}{'recall':>24}{'precision':>24}"]
    kinds = sorted(
        {k for o in outcomes for k, _ in o.awards} | {p[0] for o in outcomes for p in o.proposed}
    )
    for kind in ("", *kinds):
        rows = [ok for o in outcomes for k, ok in o.awards if kind in ("", k)]
        recall = interval(outcomes, partial(_share, kind, "awards"))
        precision = interval(outcomes, partial(_share, kind, "proposed"))
        found = f"{sum(rows)}/{len(rows)}"
        lines.append(
            f"{kind or 'all awards':<26}{found:>9}{_with(recall):>24}{_with(precision):>24}"
        )
    for title, part in (("near misses explained", "misses"), ("who brought it down", "brought")):
        lines += ["", f"{title:<35}{_with(interval(outcomes, partial(_share, '', part))):>24}"]
        told_of: list[tuple[str, bool]] = sorted(r for o in outcomes for r in getattr(o, part))
        for name, group in groupby(told_of, key=lambda row: row[0]):
            told = [ok for _, ok in group]
            lines.append(f"  {name:<24}{f'{sum(told)}/{len(told)}':>9}")
    lines.append(
        f"\n{'right position of held time':<35}{_with(interval(outcomes, _held_share)):>24}"
    )
    lines.append(f"{'calibration error':<35}{_with(interval(outcomes, _calibration)):>24}")
    return "\n".join(lines)


def _with(figure: tuple[float, float, float]) -> str:
    return "{:.3f} ({:.3f} to {:.3f})".format(*figure)


def outcomes_of(
    count: int, entries: Entries, processes: int, first: int = 0, read: Read = shipped
) -> list[Outcome]:
    """Outcomes of matches, several at a time."""
    work = partial(outcome_of, entries=entries, read=read)
    seeds = range(first, first + count)
    if processes <= 1:
        return [work(seed) for seed in seeds]
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        return pool.map(work, seeds, chunksize=1)


@click.command()
@click.option("--count", default=30, show_default=True)
@click.option("--entries", type=click.Choice(["train", "test", "all"]), default="test")
@click.option("--processes", default=2, show_default=True)
@click.option("--first", default=0, help="Seed of the first match.")
def main(count: int, entries: Entries, processes: int, first: int) -> None:
    """Print the table."""
    click.echo(table(outcomes_of(count, entries, processes, first)))


if __name__ == "__main__":
    main()
