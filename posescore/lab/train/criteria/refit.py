"""Fit the judges of criteria, measure them, write both.

``python -m posescore.lab.train.criteria.refit --pass-errors FILE``: a file as
:mod:`posescore.lab.train.criteria.pass_examples` says.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Final

from posescore.errors import MissingPartError
from posescore.holds.criteria.judge import FILE, FORMAT, Judge, criteria_file, shipped_judges
from posescore.lab.train.criteria.calibration import (
    ELEVATION_DEG,
    N_FIGURES,
    fit,
    measure,
    measure_passed,
)
from posescore.lab.train.criteria.open_poses import VIEWS, table
from posescore.lab.train.criteria.pass_examples import load_examples

_CARD: Final = """# criteria.json: judges of the published criteria

Logistic regressions on plain geometry of both athletes' keypoints, on which decisive keypoints are
missing, and on products of these, one for each question. They read one fifth of a second at a time;
`posescore.holds.criteria.checks` puts the answers of a hold together.

- **Fitted on** {n} figures for each position, placed by rules
(`posescore/lab/train/criteria/figures.py`), seen
  through random cameras from {low} to {high} degrees of elevation with small errors, and on what
  the shipped pose pass says of drawn pictures of named poses
  (`posescore/lab/train/criteria/pass_examples.py`): two of three entries of the open pose set, and
  authored poses. The sample match was looked at: the figures' range of back control and half guard
  was widened after seeing it, and the question *leg_trapped* exists because its half guard was
  read as mount. It is no independent test of these judges.
- **Measured on** figures of another seed (left), and on the pose pass's keypoints in pictures of
  held-back entries (right; n pictures). Both answers weigh the same. *Clear* is the share that is
  at least 0.8 sure; *gap* is the mean gap between how sure and how often right.
- **Made by** `python -m posescore.lab.train.criteria.refit --pass-errors FILE`, under the
  project's licence (Apache-2.0).
- **SHA-256** `{sha256}`

| question | right | clear | right if clear | gap | n | right | clear | right if clear | gap |
|---|---|---|---|---|---|---|---|---|---|
{rows}

**On bodies that people posed**: named frames of the open pose set, each in {views} views with small
errors, truth read off the 3D joints (`python -m posescore.lab.train.criteria.open_poses`). Two
thirds of their entries were fitted on as the pose pass sees them. Few poses from few entries: wide
intervals.

{open_table}

What they cannot do: one view does not show depth, so feet behind a body, an arm under a leg seen
from above, and a camera straight overhead stay doubtful; the odds say so. Figures are rigid and
adult; children's proportions and loose clothing were not tried.
"""


def main() -> None:
    """Fit, write ``criteria.json`` and its card, print the table of accuracies."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pass-errors", type=Path, required=True)
    parser.add_argument("--authored", type=Path, help="authored poses as they were then")
    parser.add_argument("--out", type=Path, default=Path("models"))
    arguments = parser.parse_args()
    examples = load_examples(arguments.pass_errors, arguments.authored)
    judges = fit(examples)
    digest = _write(arguments.out, judges)
    text = _CARD.format(
        n=N_FIGURES,
        low=int(ELEVATION_DEG[0]),
        high=int(ELEVATION_DEG[1]),
        sha256=digest,
        rows=_rows(measure(judges), measure_passed(judges, examples)),
        views=VIEWS,
        open_table=_open_table(),
    )
    (arguments.out / FILE.replace(".json", ".md")).write_text(text, "utf-8")
    sys.stdout.write(text)


def _write(out: Path, judges: Mapping[str, Judge]) -> str:
    """Write ``criteria.json``, to be read at once; its SHA-256."""
    data = {
        "format": FORMAT,
        "judges": {name: judge.to_json() for name, judge in judges.items()},
    }
    text = json.dumps(data) + "\n"
    (out / FILE).write_text(text, "utf-8")
    for kept in (criteria_file, shipped_judges):
        kept.cache_clear()
    return hashlib.sha256(text.encode()).hexdigest()


def _rows(clean: Mapping[str, Mapping[str, float]], real: Mapping[str, Mapping[str, float]]) -> str:
    keys = ("right", "clear", "clear_right", "calibration_error")
    lines = []
    for name, row in clean.items():
        cells = [f"{row[key]:.3f}" for key in keys]
        passed = real.get(name)
        if passed is None:
            cells += ["none"] + 4 * [""]
        else:
            cells += [f"{passed['n']:.0f}", *(f"{passed[key]:.3f}" for key in keys)]
        lines.append(f"| {name} | {' | '.join(cells)} |")
    return "\n".join(lines)


def _open_table() -> str:
    try:
        return table()
    except MissingPartError as error:
        return f"Not measured here: {error}"


if __name__ == "__main__":
    main()
