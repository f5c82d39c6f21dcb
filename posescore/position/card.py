"""The card beside the classifier's file: what it is, measured how, and what it cannot do."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from posescore.position.classifier import PositionClassifier
from posescore.position.evaluation import table

_LIMITS = (
    "The aim is a macro-F1 of 0.90 with these errors. The table says how far it is: poses far from "
    "any named one, outliers among keypoints, and knee-on-belly (three entries left after the "
    "purge) cost most.",
    "It judges single instants from keypoints alone: grips, pressure and whether a move is under "
    "way are not seen. Scramble has no labelled test frames; it is learned from frames in the "
    "middle of moves and a few authored poses, and its probability is the least tested.",
    "Knee-on-belly, north-south, mount and back have 4 to 28 named frames each in the open set; "
    "their figures rest on few entries, and the intervals are wide.",
    "Errors of keypoints are simulated. A pose estimator's own systematic errors on tangled "
    "pairs may differ and cost accuracy that this table does not show.",
    "One athlete out of view leaves a guess; nobody in view gives plain frequencies.",
    "It names positions, not danger: a submission can be on in any of them. The referee's call "
    "stands.",
)


def card(classifier: PositionClassifier, figures: dict[str, Any]) -> str:
    """The card's Markdown text, for the figures of :func:`posescore.position.evaluation.evaluate`.

    Raises
    ------
    ValueError
        When the figures were measured on another model file.
    """
    if figures["model_sha256"] != classifier.sha256:
        raise ValueError("these figures were measured on another model file")
    training = classifier.training
    settings = training["settings"]
    folds = len(classifier.held_back_entries)
    lines = [
        "# Position classifier",
        "",
        "`position_classifier.skops`: from the keypoints of both athletes to probabilities of 22",
        "states (position and upper athlete). Licence: Apache-2.0.",
        f"SHA-256 `{classifier.sha256}`",
        "",
        "## How it is made",
        "",
        f"`posescore train --seed {training['seed']}` (scikit-learn, {len(classifier.members)} "
        f"networks of {' and '.join(map(str, settings['hidden']))} hidden units).",
        "",
        "- Poses: 3,249 frames of two-person grappling in 3D from an open set whose authors "
        "released it into the public domain (GrappleMap, snapshot of 2020), 931 of them named; "
        "unnamed frames within 15 cm of a named one; blends of named frames within 35 cm; "
        "authored poses of what the set lacks. Every pose is bent in the joints and given other "
        "builds.",
        f"- {settings['examples']:,} pictures of {training['poses']:,} such poses: random pinhole "
        "cameras, noise growing with occlusion, outliers, missing keypoints, left and right "
        "exchanged, a missing athlete, with and without feet and confidence.",
        f"- Entries of the set are spread over {folds} folds. Network k never learns "
        "from fold k (nor from unnamed frames within 5 cm of it) and is measured on fold "
        "k alone, with a calibration fitted on the other folds. The program uses the mean of all "
        "networks.",
        "",
        "## Measured",
        "",
        "`posescore evaluate position`: held-back named frames at least 5 cm (mean over joints, "
        "whatever the turn, mirrored or exchanged) from what the judging network learned from; "
        "cameras of another draw; single pictures, 17 keypoints, confidence 1; noise 2 % of the "
        "longer side of the pair's box, 10 % of keypoints anywhere in that box. Each picture is "
        f"judged by {len(classifier.members) // folds} of the "
        f"{len(classifier.members)} networks only, those that never learned from its fold; the "
        "shipped mean of all has no held-back data left.",
        "",
        *table(figures),
        "",
        *_other_conditions(figures),
        "## What it cannot do",
        "",
        *(f"- {limit}" for limit in _LIMITS),
    ]
    return "\n".join(lines) + "\n"


def _other_conditions(figures: dict[str, Any]) -> list[str]:
    if not figures["conditions"]:
        return []
    lines = ["| noise | outliers | macro-F1 | accuracy | upper |", "|---|---|---|---|---|"]
    lines += [
        f"| {100 * c['noise']:.0f} % | {100 * c['outliers']:.0f} % | {c['macro_f1']:.3f} "
        f"| {c['accuracy']:.3f} | {c['upper_accuracy']:.3f} |"
        for c in figures["conditions"]
    ]
    return [*lines, ""]


def write_card(path: Path, classifier: PositionClassifier, figures: dict[str, Any]) -> None:
    """Write the card beside the model."""
    path.write_text(card(classifier, figures), encoding="utf-8")
