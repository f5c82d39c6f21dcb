"""Chromium without a window, for measuring the pages, for their pictures and for their tests.

Playwright drives it; it is part of the extra ``test`` and imported only when a browser is wanted.
"""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Final

from posescore.errors import InputError, OwnFailureError

if TYPE_CHECKING:
    from playwright.sync_api import Browser

ARGUMENTS: Final = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
"""No graphics card is asked for, and nothing asks anybody on the network."""


def chromium_path() -> str | None:
    """The browser: ``POSESCORE_CHROMIUM``, else the system's Chromium, else None."""
    return os.environ.get("POSESCORE_CHROMIUM") or shutil.which("chromium")


@contextmanager
def headless_browser() -> Iterator[Browser]:
    """Chromium without a window.

    Raises
    ------
    InputError
        When Playwright or Chromium is missing.
    """
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        raise InputError("Playwright is missing: pip install 'posescore[test]'.") from None
    path = chromium_path()
    if path is None:
        raise InputError(
            "no Chromium here: install it (Debian: chromium) or set POSESCORE_CHROMIUM."
        )
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=list(ARGUMENTS))
        try:
            yield browser
        finally:
            browser.close()


@contextmanager
def served(library_folder: Path) -> Iterator[str]:
    """The address of ``posescore review`` over a library, in a process of its own.

    Raises
    ------
    OwnFailureError
        When the server does not start.
    """
    command = [sys.executable, "-m", "posescore", "review", "--no-open", "--port", "0"]
    command += ["--library", str(library_folder)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout is not None
            line = process.stdout.readline()
            if "http://" not in line:
                raise OwnFailureError("the review page could not be served; see the message above.")
            yield line.split()[-1]
        finally:
            process.send_signal(signal.SIGINT)
            process.wait(30)
