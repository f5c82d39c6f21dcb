"""A short run of two browsers and a server that is killed; the long one is a command."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Browser

from tests.browser.two_people import run

pytestmark = pytest.mark.browser


def test_nothing_acknowledged_is_lost_and_both_pages_end_alike(
    browser: Browser, tmp_path: Path
) -> None:
    made = run(browser, tmp_path, edits=12, seed=3, kill_every=8)
    assert made.edits >= 12
    assert made.kills >= 1
