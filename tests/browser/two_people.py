"""Two browsers at one match, and a server that is killed at random: nothing acknowledged is lost.

The long run: ``python -m tests.browser.two_people --edits 1000 --seed 1``. It ends with a line of
counts; any broken promise is an error. ``test_two_people.py`` runs a short one.
"""

from __future__ import annotations

import argparse
import random
import signal
import socket
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from playwright.sync_api import Browser, Page

from posescore.evaluation.browser import headless_browser
from posescore.library.library import Library
from posescore.library.review.entries import Entry
from tests.browser.conftest import DESK, Server
from tests.browser.room import open_match

HEAR: Final = """() => {
  const before = window.fetch;
  window.pending = 0;
  window.acknowledged = [];
  window.fetch = async (url, how = {}) => {
    if (how.method !== "POST") return before(url, how);
    window.pending += 1;
    try {
      const answer = await before(url, how);
      if (answer.ok) window.acknowledged.push((await answer.clone().json()).last_entry_id);
      return answer;
    } finally { window.pending -= 1; }
  };
}"""
"""Counts what the page sends, and keeps the entry of everything that was acknowledged to it."""
STATE: Final = """() => [
  [...document.querySelectorAll(".proposal-head")].map((one) => one.innerText),
  [...document.querySelectorAll(".board-row, .ending .board-line")].map((one) => one.innerText),
]"""
"""What a person reads of lines and score."""
PATIENCE_MS: Final = 20_000


@dataclass
class Run:
    """Counts of one run."""

    edits: int = 0
    kills: int = 0
    undone: int = 0
    asked: int = 0
    unanswered: int = 0
    acknowledged: dict[int, str] = field(default_factory=dict)


def run(browser: Browser, folder: Path, edits: int, seed: int, kill_every: int) -> Run:
    """Edit until so many edits were acknowledged; then hold the log to what was acknowledged."""
    dice, made = random.Random(seed), Run()
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    server = Server(folder, ("tests.browser.served_endings", "{folder}", str(port)))
    server.start()
    people = {name: _person(browser, server, name) for name in ("Ann", "Ben")}
    try:
        while made.edits < edits:
            name = dice.choice(list(people))
            if dice.random() < 1 / kill_every:
                _act(people[name], dice, made, wait=False)
                time.sleep(dice.uniform(0, 0.05))
                server.stop(signal.SIGKILL)
                made.kills += 1
                server.start()
            else:
                _act(people[name], dice, made)
            for who, page in people.items():
                _settle(page, dice, made)
                _collect(page, who, made)
        check_pages(list(people.values()))
    finally:
        for page in people.values():
            page.context.close()
        server.stop()
    with Library(folder / "library") as library:
        check_log(library.log(1), made)
    return made


def _person(browser: Browser, server: Server, name: str) -> Page:
    context = browser.new_context(viewport=DESK, base_url=server.address)  # type: ignore[arg-type]
    page = context.new_page()
    page.set_default_timeout(PATIENCE_MS)
    page.add_init_script(f"localStorage.setItem('posescore.author', {name!r}); ({HEAR})()")
    open_match(page)
    return page


def _act(page: Page, dice: random.Random, made: Run, wait: bool = True) -> None:
    """One thing that a person does by keys, at a line of the list."""
    _settle(page, dice, made)  # what asked a moment late
    heads = page.locator(".proposal-head")
    at = dice.randrange(heads.count())
    if page.locator(".proposal.selected").count() == 0 or dice.random() < 0.7:
        heads.nth(at).click()
    turn = dice.random()
    if turn < 0.35:
        page.keyboard.press("y")
    elif turn < 0.55:
        page.keyboard.press("x")
        if page.locator("dialog").count():
            page.keyboard.press(str(dice.randrange(1, 6)))
    elif turn < 0.8:
        page.keyboard.press(dice.choice(["u", "u", "Shift+U", "o"]))
    elif turn < 0.9:
        page.keyboard.press("c")
        if page.locator("dialog").count():
            page.get_by_label("Points", exact=True).fill(str(dice.randrange(5)))
            page.keyboard.press("Enter")
    else:
        page.keyboard.press("b" if dice.random() < 0.5 else "e")
    if wait:
        page.wait_for_function("window.pending === 0")


def _settle(page: Page, dice: random.Random, made: Run) -> None:
    """Answer what asks, leave what was refused."""
    page.wait_for_function("window.pending === 0")
    page.wait_for_timeout(40)
    give_up = time.monotonic() + PATIENCE_MS / 1000
    while page.locator("dialog").count():
        assert time.monotonic() < give_up, page.locator("dialog").all_inner_texts()
        asks = page.locator("dialog", has_text="while you looked at it")
        if asks.count():
            made.asked += 1
            asks.locator(".acts button").nth(dice.randrange(2)).click()
        else:
            made.unanswered += 1
            page.keyboard.press("Escape")
        page.wait_for_function("window.pending === 0")
        page.wait_for_timeout(40)


def _collect(page: Page, who: str, made: Run) -> None:
    for entry_id in page.evaluate("window.acknowledged.splice(0)"):
        made.acknowledged[entry_id] = who
        made.edits += 1


def check_pages(pages: list[Page]) -> None:
    """Both show the same in the end, without being loaded again."""
    give_up = time.monotonic() + PATIENCE_MS / 1000
    while True:
        shown: list[Any] = [page.evaluate(STATE) for page in pages]
        if shown[0] == shown[1]:
            break
        assert time.monotonic() < give_up, f"the pages differ: {shown}"
        time.sleep(0.2)
    for page, state in zip(pages, shown, strict=True):
        page.evaluate("sessionStorage.clear()")
        page.reload()
        page.wait_for_selector(".proposal-head")
        page.wait_for_function(f"JSON.stringify(({STATE})()) !== '[[],[]]'")
        again = page.evaluate(STATE)
        assert again[1] == state[1], "loaded again, the score is another"


def check_log(log: list[Entry], made: Run) -> None:
    """Every acknowledged entry is there, by whom it was; every undo took back an own entry."""
    by_id = {entry.id: entry for entry in log}
    for entry_id, who in made.acknowledged.items():
        assert by_id[entry_id].author == who, f"entry {entry_id} of {who}"
    for entry in log:
        if entry.undoes is not None:
            made.undone += 1
            assert by_id[entry.undoes].author == entry.author, f"entry {entry.id}"
        if entry.redoes is not None:
            assert by_id[entry.redoes].author == entry.author, f"entry {entry.id}"
    assert len(log) <= len(made.acknowledged) + made.kills, "entries that nobody was told of"


def main() -> None:
    """The long run."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--edits", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kill-every", type=int, default=25)
    asked = parser.parse_args()
    started_s = time.monotonic()
    with headless_browser() as browser, tempfile.TemporaryDirectory() as folder:
        made = run(browser, Path(folder), asked.edits, asked.seed, asked.kill_every)
    print(
        f"seed {asked.seed}: {made.edits} acknowledged entries all in the history, {made.kills} "
        f"kills, {made.undone} undos of own entries, asked {made.asked} times, "
        f"{made.unanswered} windows left, {time.monotonic() - started_s:.0f} s"
    )


if __name__ == "__main__":
    main()
