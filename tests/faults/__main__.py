"""The long run: ``python -m tests.faults --cases 20000 --kills 500 --minutes 40``.

Prints its seed and what every family of cases came to. ``--repeat FAMILY:SEED:NUMBER`` does one
case again, in this process.
"""

from __future__ import annotations

import argparse
import secrets
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from tests.faults.families import FAMILIES
from tests.faults.running import Report, one_case, run_family


def main() -> int:
    """Run; 1 where anything failed."""
    parser = argparse.ArgumentParser(prog="python -m tests.faults", description=__doc__)
    parser.add_argument("--seed", type=int, default=secrets.randbelow(10**6))
    parser.add_argument("--cases", type=int, default=20_000, help="besides kills")
    parser.add_argument("--kills", type=int, default=500)
    parser.add_argument("--minutes", type=float, default=60.0)
    parser.add_argument("--jobs", type=int, default=2, help="families at a time")
    parser.add_argument("--only", action="append", choices=FAMILIES, help="family of cases")
    parser.add_argument("--repeat", metavar="FAMILY:SEED:NUMBER")
    given = parser.parse_args()
    if given.repeat:
        return _repeat(*given.repeat.split(":"))
    print(f"seed {given.seed}", flush=True)
    reports = _run(given)
    cases = sum(report.cases for report in reports if not FAMILIES[report.name].kills)
    killed = sum(report.cases for report in reports if FAMILIES[report.name].kills)
    failures = [failure for report in reports for failure in report.failures]
    print(f"all: {cases} cases and {killed} kills, {len(failures)} failures, seed {given.seed}")
    return int(bool(failures))


def _run(given: argparse.Namespace) -> list[Report]:
    until_s = time.monotonic() + given.minutes * 60
    names = [name for name in FAMILIES if not given.only or name in given.only]
    shares = {
        kills: sum(FAMILIES[name].share for name in names if FAMILIES[name].kills == kills)
        for kills in (False, True)
    }

    def one(name: str) -> Report:
        family = FAMILIES[name]
        wanted = (given.kills if family.kills else given.cases) * family.share
        count = max(1, round(wanted / shares[family.kills] / family.size))
        report = run_family(name, family, given.seed, count, until_s)
        print(report, *report.failures, sep="\n    ", flush=True)
        return report

    with ThreadPoolExecutor(given.jobs) as pool:
        return list(pool.map(one, names))


def _repeat(name: str, seed: str, number: str) -> int:
    with tempfile.TemporaryDirectory(prefix="faults-") as root:
        place = Path(root) / number
        place.mkdir()
        end, said = one_case(name, FAMILIES[name], int(seed), int(number), place)
    print(end, said)
    return int(end == "failed")


if __name__ == "__main__":
    sys.exit(main())
