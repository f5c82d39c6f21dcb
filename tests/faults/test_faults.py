"""Some cases of every family; the long run is ``python -m tests.faults``.

The seed is printed; ``POSESCORE_FAULTS_SEED`` chooses another one.
"""

from __future__ import annotations

import os
import sys
import time

import pytest

from tests.faults.families import FAMILIES
from tests.faults.running import run_family

SEED = int(os.environ.get("POSESCORE_FAULTS_SEED", "1"))
SECONDS = {"kills of the server": 4, "kills of analyses": 3}
"""What a few cases of the slower families may take."""
pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="forks, limits and mounts of Linux")


@pytest.mark.parametrize("name", FAMILIES)
def test_a_few_cases_end_well_or_in_a_sentence(name: str) -> None:
    print(f"seed {SEED}: python -m tests.faults --only '{name}' --seed {SEED}")
    family = FAMILIES[name]
    until_s = time.monotonic() + SECONDS.get(name, 2)
    report = run_family(name, family, SEED, 20, until_s)
    assert report.failures == []
    assert report.cases > 0
