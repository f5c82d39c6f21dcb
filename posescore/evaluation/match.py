"""How near the proposals come to a match whose truth is known, printed by one command."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from posescore.analysis.pipeline import DEFAULTS, Analysis, Settings, read_positions, track_of
from posescore.analysis.sample import sample_match
from posescore.errors import InputError
from posescore.evaluation.truth import read_truth
from posescore.footage.reading import Footage
from posescore.holds.hold import Hold
from posescore.library.match import DEFAULT_RULES
from posescore.pose.track import PairTrack
from posescore.resources import shipped
from posescore.scoring.engine import propose
from posescore.scoring.log import proposal_to_json
from posescore.scoring.proposal import Proposal, ProposalKind
from posescore.scoring.rules import RuleSet
from posescore.terms import Position, Progress, Step, silent


@dataclass(frozen=True, slots=True)
class AwardLine:
    """One true award, and the proposal that answers it (None where it was missed)."""

    award: Mapping[str, Any]
    proposal: Proposal | None

    @property
    def late_s(self) -> float | None:
        """Seconds by which the proposal comes after the true moment."""
        return None if self.proposal is None else self.proposal.time_s - self.award["time_s"]


@dataclass(frozen=True, slots=True)
class NothingLine:
    """One stretch that earns no points, and the proposal that explains it, if any does."""

    nothing: Mapping[str, Any]
    proposal: Proposal | None


@dataclass(frozen=True, slots=True)
class Assessment:
    """Awards found, missed and false; nothings explained; time spent in the right state."""

    awards: tuple[AwardLine, ...]
    false_awards: tuple[Proposal, ...]
    nothings: tuple[NothingLine, ...]
    right_state: float
    """Of the time in which the truth names a position other than scramble, the fraction in which
    the hold names the same position and upper athlete."""
    both_found: float
    """Fraction of frames with at least half of the keypoints of both athletes."""

    @property
    def found(self) -> int:
        """Number of true awards that were proposed."""
        return len(self._right)

    @property
    def _right(self) -> list[Proposal]:
        return [line.proposal for line in self.awards if line.proposal is not None]

    @property
    def calibration(self) -> tuple[float, float] | None:
        """Mean confidence of the proposals of points, and the fraction of them that is right.

        None where no points were proposed.
        """
        proposed = [*self._right, *self.false_awards]
        if not proposed:
            return None
        mean = sum(proposal.confidence for proposal in proposed) / len(proposed)
        return mean, self.found / len(proposed)

    def to_json(self) -> dict[str, object]:
        """Plain data, as ``posescore evaluate match --json`` prints it."""

        def answer(proposal: Proposal | None) -> dict[str, object] | None:
            return None if proposal is None else proposal_to_json(proposal)

        mean, right = self.calibration or (None, None)
        return {
            "awards": [
                {"award": line.award, "proposal": answer(line.proposal), "late_s": line.late_s}
                for line in self.awards
            ],
            "false_awards": [proposal_to_json(proposal) for proposal in self.false_awards],
            "nothings": [
                {"nothing": line.nothing, "proposal": answer(line.proposal)}
                for line in self.nothings
            ],
            "found": self.found,
            "explained": sum(line.proposal is not None for line in self.nothings),
            "right_state": self.right_state,
            "both_found": self.both_found,
            "mean_confidence": mean,
            "fraction_right": right,
        }


def degraded(track: PairTrack, noise: float, missing: float, seed: int) -> PairTrack:
    """A track with Gaussian noise and missing keypoints.

    Parameters
    ----------
    noise
        Standard deviation on each axis as a fraction of the athlete's size: the square root
        of the area of the box around the keypoints (the scale of COCO's OKS).
    missing
        Fraction of keypoints that are dropped, independently.
    """
    random = np.random.default_rng(seed)
    points = track.keypoints_px.astype(np.float64)
    low, high = np.fmin.reduce(points, axis=2), np.fmax.reduce(points, axis=2)
    size = np.sqrt(np.prod(np.nan_to_num(high - low), axis=-1))
    points += random.normal(size=points.shape) * (noise * size)[..., None, None]
    gone = random.random(points.shape[:3]) < missing
    points[gone] = np.nan
    confidence = np.where(gone, np.nan, track.keypoint_confidence)
    step = Step("assessment.degraded", {"noise": noise, "missing": missing, "seed": seed})
    return replace(
        track,
        keypoints_px=points.astype(np.float32),
        keypoint_confidence=confidence.astype(np.float32),
        provenance=track.provenance.then(step),
    )


def assess(
    video: Path,
    truth: Mapping[str, Any],
    *,
    settings: Settings = DEFAULTS,
    rules: str = DEFAULT_RULES,
    noise: float = 0.0,
    missing: float = 0.0,
    seed: int = 0,
    within_s: float = 1.0,
    cache: Path | None = None,
    progress: Progress = silent,
) -> Assessment:
    """Run a match through all stages and compare with its truth.

    A proposal answers an award of the same athlete and kind within ``within_s`` seconds; every
    other proposal of points is false.
    """
    rule_set = RuleSet.load(rules)
    track = track_of(Footage(video), settings, cache, progress)
    if noise or missing:
        track = degraded(track, noise, missing, seed)
    reading = read_positions(track, progress)
    ruling = propose(reading.holds, reading.events, rule_set, end_s=track.end_s)
    return compare(reading, ruling.proposals, truth, within_s)


def compare(
    reading: Analysis, proposals: Sequence[Proposal], truth: Mapping[str, Any], within_s: float
) -> Assessment:
    """Hold proposals against the truth of a match."""
    left = [p for p in proposals if p.points > 0]
    lines = []
    for award in truth["awards"]:
        near = [p for p in left if _answers(p, award, within_s)]
        answer = min(near, key=lambda p: abs(p.time_s - award["time_s"]), default=None)
        if answer is not None:
            left.remove(answer)
        lines.append(AwardLine(award, answer))
    nothings = tuple(
        NothingLine(n, next((p for p in proposals if _explains(p, n)), None))
        for n in truth["nothings"]
    )
    return Assessment(
        tuple(lines),
        tuple(left),
        nothings,
        _right_state(reading.holds, truth["states"]),
        _both_found(reading.track),
    )


def _answers(proposal: Proposal, award: Mapping[str, Any], within_s: float) -> bool:
    true = (award["athlete"], award["kind"], award["points"])
    near = abs(proposal.time_s - float(award["time_s"])) <= within_s
    return near and (proposal.athlete, proposal.kind, proposal.points) == true


def _explains(proposal: Proposal, nothing: Mapping[str, Any]) -> bool:
    if proposal.kind not in (ProposalKind.NEAR, ProposalKind.NONE):
        return False
    overlaps = (
        proposal.evidence.start_s < nothing["end_s"]
        and proposal.evidence.end_s > nothing["start_s"]
    )
    failed = {
        name
        for criterion in proposal.criteria
        if criterion.met is False
        for name in (criterion.name, criterion.check)
    }
    return bool(
        overlaps
        and proposal.athlete == nothing["athlete"]
        and proposal.would_be == nothing["would_be"]
        and nothing["failed_criterion"] in failed
    )


def _right_state(holds: Sequence[Hold], states: Sequence[Mapping[str, Any]]) -> float:
    named = [state for state in states if state["position"] != Position.SCRAMBLE]
    total_s = sum(state["end_s"] - state["start_s"] for state in named)
    right_s = sum(
        max(0.0, min(hold.end_s, state["end_s"]) - max(hold.start_s, state["start_s"]))
        for state in named
        for hold in holds
        if hold.position == state["position"] and hold.upper == state.get("upper")
    )
    return right_s / total_s if total_s else 0.0


def _both_found(track: PairTrack) -> float:
    seen = np.isfinite(track.keypoints_px[..., 0]).mean(axis=2) >= 0.5
    return float(seen.all(axis=1).mean()) if len(track) else 0.0


def assess_command(
    video: Path | None,
    *,
    truth: Path | None,
    track_file: Path | None,
    true_keypoints: bool,
    noise: float,
    missing: float,
    seed: int,
    within_s: float,
    progress: Progress,
) -> Assessment:
    """Assess a video and its truth, by default the shipped sample match."""
    if video is not None and truth is None:
        raise InputError(f"{video}: give its truth as well, with --truth.")
    sample, info = sample_match()
    gi = info.athlete_a.gi_colour if video is None else None
    if true_keypoints:
        track_file = shipped("sample_video", "keypoints.json")
    return assess(
        video or sample,
        read_truth(truth or shipped("sample_video", "truth.json")),
        settings=Settings(track_file, athlete_a_gi=gi),
        rules=info.rules if video is None else DEFAULT_RULES,
        noise=noise,
        missing=missing,
        seed=seed,
        within_s=within_s,
        progress=progress,
    )
