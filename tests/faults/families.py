"""All families of cases, and their share of a long run."""

from __future__ import annotations

from typing import Final

from tests.faults import files, footage, kills, libraries, scarce, service
from tests.faults.running import Family

FAMILIES: Final = {
    "containers": Family(footage.containers, 6000),
    "cuts": Family(footage.cuts, 1500),
    "faults while read": Family(footage.faults_while_read, 200),
    "logs": Family(files.logs, 2500, size=files.EXAMPLES),
    "truths": Family(files.truths, 2000, size=files.EXAMPLES),
    "coco": Family(files.coco, 2000, size=files.EXAMPLES),
    "rules": Family(files.rules, 1500, size=files.EXAMPLES),
    "tracks": Family(files.tracks, 1000),
    "rows": Family(libraries.rows, 900),
    "pages": Family(libraries.pages, 400),
    "versions": Family(libraries.versions, 40),
    "clock set back": Family(libraries.clock_set_back, 40),
    "api": Family(service.api, 1600, size=files.EXAMPLES),
    "disk full": Family(scarce.disk_full, 200),
    "little memory": Family(scarce.little_memory, 120),
    "kills of edits": Family(kills.editing, 200, kills=True),
    "kills of the server": Family(kills.serving, 120, kills=True),
    "kills of analyses": Family(kills.analysing, 130, kills=True),
    "kills of copies": Family(kills.copying, 50, kills=True),
}
"""The shares add up to 20,000 cases and 500 kills."""
