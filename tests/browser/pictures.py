"""Take the pictures of the pages for README and docs.

    python -m tests.browser.pictures --out FOLDER

Analyses the sample match as the program ships, or takes it from a library that knows it (and that
is copied, so that what people decided there stays as it is), lets two invented people review it,
and opens every page.
``--only NAME`` takes one picture. No picture is larger than 500 kB.
"""

from __future__ import annotations

import argparse
import io
import json
import shutil
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

from PIL import Image
from playwright.sync_api import Browser, Page

from posescore.analysis import job, sample
from posescore.cli.render import progress_bar
from posescore.evaluation.browser import headless_browser, served
from posescore.export.report import write_report
from posescore.footage.reading import Footage
from posescore.library.library import Library
from posescore.library.match import AthleteInfo, Match, MatchInfo
from posescore.library.review.edits import Confirm, Dismiss
from posescore.library.review.review import ReviewItem
from posescore.resources import shipped
from tests.browser.conftest import DESK, PATIENCE_MS, PHONE

MOST_BYTES = 500_000
FEWEST_COLOURS = 32
GONE_MS = 5000  # until the last sentence at the top has gone
WITHIN_S = 1.0
CHIEF, SECOND = "Rana Holm", "Tove Lindqvist"
DECIDED_FIRST = 1
"""Lines that the first reviewer has decided when the review page is pictured."""

OTHERS = (
    ("Pia Solberg", "white", "Lou Amsel", "blue", "white", "Town league, day 4", None),
    ("Ines Vaz", "white", "Dana Kern", "blue", "blue", "Town league, day 2", date(2026, 6, 20)),
    ("Ines Vaz", "white", "Mira Ostrand", "blue", "blue", "Harbour Hall Open", date(2026, 9, 12)),
    ("Sanne Wit", "white", "Ada Marsh", "blue", "purple", "Lakeside Cup", date(2026, 10, 3)),
    ("Ines Vaz", "white", "Noa Berg", "blue", "blue", "Lakeside Cup", date(2026, 10, 3)),
)
"""Invented matches beside the sample match, for the list."""

DECIDED = (None, 1, 99, 2, 99)
"""How many of their lines are decided at most; None waits for its analysis."""


@dataclass
class Story:
    """The library that is pictured, and who has said what in it."""

    library: Library
    match_id: int
    folder: Path

    def items(self, opinion: str = "") -> tuple[ReviewItem, ...]:
        return self.library.review(self.match_id, opinion).items

    def decide(self, lines: int, opinion: str = "") -> None:
        """Decide the first lines by the truth, as somebody who was there would."""
        for item in self.items(opinion)[:lines]:
            if item.decision is None:
                true = is_true(item)
                edit = Confirm(item.key) if true else Dismiss(item.key, "It did not happen so")
                self.library.edit(self.match_id, edit, opinion or CHIEF, opinion)


def is_true(item: ReviewItem) -> bool:
    """True for what the sample match's truth knows, and for every "no points"."""
    truth: dict[str, Any] = json.loads(shipped("sample_video", "truth.json").read_text("utf-8"))
    shown = item.shown
    return not shown.points or any(
        (award["athlete"], award["kind"]) == (shown.athlete, shown.kind)
        and abs(award["time_s"] - shown.time_s) <= WITHIN_S
        for award in truth["awards"]
    )


# Pictures -----------------------------------------------------------------------------------------
def review_page(page: Page, story: Story) -> None:
    story.decide(DECIDED_FIRST)
    page.goto(f"/match/{story.match_id}")
    page.wait_for_function("document.querySelector('video')?.readyState >= 2")
    for _ in range(DECIDED_FIRST + 1):
        page.keyboard.press("ArrowDown")
        page.wait_for_timeout(300)
    page.locator(".proposal.selected").wait_for()


def evidence(page: Page, story: Story) -> None:
    review_page(page, story)
    page.keyboard.press("v")
    page.get_by_role("dialog").wait_for()


def library(page: Page, story: Story) -> None:
    add_others(story)
    page.goto("/")
    page.locator(".card").nth(len(OTHERS)).wait_for()


def athlete(page: Page, story: Story) -> None:
    page.goto("/athletes?name=Ines+Vaz")
    page.locator("table").first.wait_for()


def second_opinion(page: Page, story: Story) -> None:
    story.decide(len(story.items()))
    for name, wrong in ((CHIEF, False), (SECOND, True)):
        story.decide(len(story.items(name)) - (3 if wrong else 0), name)
        if wrong:
            said = next(item for item in story.items(name) if item.shown.points)
            edit = Dismiss(said.key, "Not held for three seconds")
            story.library.edit(story.match_id, edit, name, name)
    page.goto(f"/match/{story.match_id}/opinions?one={CHIEF}&other={SECOND}")
    page.locator(".difference").first.wait_for()
    page.keyboard.press("n")


def lesson(page: Page, story: Story) -> None:
    story.decide(len(story.items()))
    page.goto(f"/match/{story.match_id}/lesson")
    page.wait_for_function("document.querySelector('video')?.readyState >= 2")
    for _ in range(2):
        page.keyboard.press("n")
        page.wait_for_timeout(500)
    page.locator(".moment-head").wait_for()


def report(page: Page, story: Story) -> None:
    story.decide(len(story.items()))
    page.goto(write_report(story.library, story.match_id, story.folder / "report.html").as_uri())


PICTURES: dict[str, tuple[Callable[[Page, Story], None], dict[str, int]]] = {
    "review-page": (review_page, DESK),
    "evidence": (evidence, DESK),
    "review-phone": (review_page, PHONE),
    "library-page": (library, {"width": 1200, "height": 760}),
    "athlete": (athlete, {"width": 1200, "height": 1000}),
    "second-opinion": (second_opinion, DESK),
    "lesson": (lesson, {"width": 1280, "height": 800}),
    "report": (report, {"width": 1000, "height": 1300}),
}
"""Each with what brings it on the screen, in an order in which more and more is decided."""


def add_others(story: Story) -> None:
    """Matches beside it: some decided, some begun, one that waits for its analysis."""
    analysis = story.library.analysis(story.match_id)
    for lines, (a, a_gi, b, b_gi, belt, event, day) in zip(DECIDED, OTHERS, strict=True):
        info = MatchInfo(
            f"{a} and {b}",
            AthleteInfo(a, a_gi, belt),
            AthleteInfo(b, b_gi, belt),
            event=event,
            held_on=day,
            division={"age": "adult", "belt": belt},
        )
        match = story.library.add_match(info)
        if lines is not None:
            story.library.save_analysis(match.id, replace(analysis, version=0))
            Story(story.library, match.id, story.folder).decide(lines)


def take(browser: Browser, address: str, name: str, story: Story, out: Path) -> None:
    """Take one picture in a window of its own."""
    prepare, size = PICTURES[name]
    context = browser.new_context(
        viewport=size,  # type: ignore[arg-type]
        color_scheme="light",
        device_scale_factor=2 if size == PHONE else 1,
        has_touch=size == PHONE,
        is_mobile=size == PHONE,
        base_url=address,
    )
    page = context.new_page()
    page.set_default_timeout(PATIENCE_MS)
    prepare(page, story)
    page.wait_for_timeout(GONE_MS)
    page.wait_for_function("[...document.images].every((one) => one.complete)")
    path = out / f"{name}.png"
    path.write_bytes(small(page.screenshot()))
    print(f"{path}: {path.stat().st_size / 1000:.0f} kB", flush=True)
    context.close()


def small(png: bytes) -> bytes:
    """The picture with as many colours as its size allows."""
    picture, colours = Image.open(io.BytesIO(png)).convert("RGB"), 256
    coded = png
    while len(coded) > MOST_BYTES and colours >= FEWEST_COLOURS:
        made = io.BytesIO()
        picture.quantize(colours, Image.Quantize.MEDIANCUT).save(made, "png", optimize=True)
        coded, colours = made.getvalue(), colours // 2
    return coded


def sample_match(place: Path, given: Path | None) -> Match:
    """The sample match in a library of our own: analysed now, or as a given library has it."""
    video, info = sample.sample_match()
    if given is not None:
        shutil.copytree(given, place)
    with Library(place) as library, progress_bar(quiet=False) as progress:
        known = library.match_of_footage(Footage(video).sha256)
        return known or job.analyze_now(library, video, info, progress=progress)


def main() -> None:
    """Read the command line and take the pictures."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--out", type=Path, default=Path("docs"))
    ask.add_argument("--library", type=Path, help="folder of a library that knows the match")
    ask.add_argument("--only", choices=PICTURES, action="append", help="this picture alone")
    given = ask.parse_args()
    given.out.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, headless_browser() as browser:
        place = Path(folder) / "library"
        match = sample_match(place, given.library)
        with Library(place) as library, served(place) as address:
            for name in given.only or PICTURES:
                take(browser, address, name, Story(library, match.id, Path(folder)), given.out)


if __name__ == "__main__":
    main()
