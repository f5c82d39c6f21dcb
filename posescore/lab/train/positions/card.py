"""The card beside the classifier's file: what it is, measured how, and what it cannot do."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from posescore.evaluation.position import table
from posescore.position.classifier import PositionClassifier

_LIMITS = (
    "Poses far from any named one, outliers among keypoints, and knee-on-belly cost most. The "
    "stricter tables rest on few entries: of knee-on-belly three are 5 cm or more from training, "
    "and one is unknown to the pair network.",
    "Some names can be argued about: two of the set's twelve knee-on-belly frames have the other "
    "knee on the mat, which the rules give no points for.",
    "It judges single instants from keypoints alone: grips, pressure and whether a move is under "
    "way are not seen. Scramble has no labelled test frames; it is learned from frames in the "
    "middle of moves and a few authored poses, and its probability is the least tested.",
    "Knee-on-belly, north-south, mount and back have 4 to 28 named frames each in the open set; "
    "their figures rest on few entries, and the intervals are wide.",
    "Real errors are those of this program's own pose pass on drawn pictures. Another "
    "estimator's, and those on footage, may differ and cost accuracy that no table here shows.",
    "One athlete out of view leaves a guess; nobody in view gives plain frequencies.",
    "It names positions, not danger: a submission can be on in any of them. The referee's call "
    "stands.",
)


def card(classifier: PositionClassifier, figures: dict[str, Any]) -> str:
    """The card's Markdown text, for the figures of :func:`posescore.evaluation.position.evaluate`.

    Raises
    ------
    ValueError
        When the figures were measured on another model file.
    """
    if figures["model_sha256"] != classifier.sha256:
        raise ValueError("these figures were measured on another model file")
    rounds = len(classifier.training["about"])
    lines = [
        "# Position classifier",
        "",
        "`position_classifier.onnx`: from the keypoints of both athletes to probabilities of 22",
        "states (position and upper athlete). Licence: Apache-2.0.",
        f"SHA-256 `{classifier.sha256}`",
        "",
        "## How it is made",
        "",
        *_making(classifier),
        "",
        "## Measured",
        "",
        "`posescore evaluate position`: held-back named frames, 20 cameras each, of another draw; "
        "single pictures, 17 keypoints, confidence 1; noise 2 % of the longer side of the pair's "
        "box, 10 % of keypoints anywhere in that box. Each picture is judged only by the networks "
        f"that never learned from its entry, {rounds} of {rounds * (classifier.n_folds + 1)}; the "
        "shipped mean of all has no held-back data left. Distances are means over joints, whatever "
        "the turn, mirrored or exchanged.",
        "",
        *table(figures),
        "",
        *_other_conditions(figures),
        *_from_pictures(figures),
        "## What it cannot do",
        "",
        *(f"- {limit}" for limit in _LIMITS),
    ]
    return "\n".join(lines) + "\n"


def _making(classifier: PositionClassifier) -> list[str]:
    training = classifier.training
    folds = classifier.n_folds
    rounds = training["settings"]["rounds"]
    depths = [{"layers": 3, **each.get("sizes", {})}["layers"] for each in rounds]
    return [
        f"`python -m posescore.lab.train.positions.classifier --seed {training['seed']}`, with "
        "`--real FILE` to learn from what the pose pass gives. Networks that look at the keypoints "
        "of both bodies (attention over their parts; learned in torch, run by onnxruntime) judge; "
        "the geometric mean of them is the answer.",
        "- Poses: 3,249 frames of two-person grappling in 3D from an open set whose authors "
        "released it into the public domain (GrappleMap, snapshot of 2020), 931 of them named, "
        "and authored poses of what the set lacks. Every pose is bent in the joints and given "
        "other builds. The authored ranges for knee-on-belly and mount were set after "
        "looking at the set's frames, held-back ones among them; authored side controls and half "
        "guards were added after looking at drawn matches, the sample among them.",
        "- What is learned from lies anywhere on the way between two frames of one name, of one "
        "move, or within 40 cm of each other; in a quarter of pictures every limb goes its own "
        "part of the way, in another quarter joints bend twice as far. What has no name is named "
        "by judges in 3D, one for each fold, which never learned from that fold.",
        *(
            f"- {layers} layers, one network for each fold and one for all: {about}."
            for layers, about in zip(depths, training["about"], strict=True)
        ),
        "- Pictures: random pinhole cameras; three in five with noise and outliers that come "
        "evenly, the others with noise growing with occlusion, outliers, missing keypoints, left "
        "and right exchanged, a missing athlete; with and without feet, face and confidence.",
        f"- Entries of the set are spread over {folds} folds. Network k never learns from fold k "
        "(nor from unnamed poses within 5 cm of it) and is measured on fold k alone, with a "
        "calibration fitted on the other folds. Tracks of the pose pass have a calibration of "
        "their own, fitted on what it gave.",
    ]


def _from_pictures(figures: dict[str, Any]) -> list[str]:
    if "real" not in figures:
        return []
    return [
        "From pictures to positions, `posescore evaluate position --real FILE`: drawn pictures of "
        "named poses, read by the pair finder and network; entries that none of the judging "
        "networks learned from. FILE is written by the pair network's training (`--errors`).",
        "",
        *table(figures["real"]),
        "",
    ]


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
