"""How quick the review page is, measured in a browser on a match that the library holds.

Three things: the first view of the page, from the start of loading until the footage's first
frame, the strip and the proposals are painted; a key press, until what it changes is painted; and
whether every frame of playing footage gets its skeletons. Beside each stands the same of a page
with next to nothing on it, taken in the same run: that much is the browser's and the machine's own.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page

STARTS_S: Final = 35.0
"""Playing starts here: the keypoints of this place are not those that the page fetched first."""

PATIENCE_MS: Final = 60_000
WINDOW: Final = {"width": 1440, "height": 900}
PLAIN: Final = "/assets/room.css"
"""A page with next to nothing on it: text of the same server, without any script."""

_FRAME = "document.querySelector('#frame-now').textContent"
_SELECTED = "document.querySelector('.proposal.selected')?.id"
_HOLDS = "document.querySelectorAll('.strip .hold').length"
_CONFIRMED = "document.querySelectorAll('.proposal.is-confirmed').length"
_SPEED = "document.querySelector('[aria-label=\"Speed\"]').textContent"
KEYS: Final = (
    ("ArrowDown", _SELECTED),
    ("y", _CONFIRMED),
    ("u", _CONFIRMED),
    ("ArrowRight", _FRAME),
    ("Shift+ArrowRight", _FRAME),
    ("ArrowLeft", _FRAME),
    ("n", _FRAME),
    ("+", _SPEED),
    ("-", _SPEED),
    ("Shift+ArrowRight", _FRAME),
    ("t", _HOLDS),
    ("u", _HOLDS),
)
"""Keys in an order in which each changes something, with what changes by it."""


@dataclass(slots=True)
class Speed:
    """What was measured; times in milliseconds.

    Parameters
    ----------
    first_ms
        The first view after the server's start.
    views_ms, plain_views_ms
        Later first views, each in a fresh browser profile; those of the plain page.
    parts_ms
        When footage, strip and proposals were painted, of every view in ``views_ms``.
    keys_ms, plain_keys_ms
        From key press to paint, by key; the same on the plain page.
    frames, with_skeletons
        Frames that playing went through, and how many of them got their skeletons.
    plain_share
        Share of the frames that the browser shows of the same footage on the plain page.
    overlay_ms
        How long the page took for one frame while playing.
    """

    first_ms: float = float("nan")
    views_ms: list[float] = field(default_factory=list)
    plain_views_ms: list[float] = field(default_factory=list)
    parts_ms: dict[str, list[float]] = field(default_factory=dict)
    keys_ms: dict[str, list[float]] = field(default_factory=dict)
    plain_keys_ms: list[float] = field(default_factory=list)
    frames: int = 0
    with_skeletons: int = 0
    plain_share: float = float("nan")
    overlay_ms: list[float] = field(default_factory=list)

    @property
    def all_keys_ms(self) -> list[float]:
        """Times of every key press."""
        return [ms for times in self.keys_ms.values() for ms in times]


def measure_pages(
    browser: Browser,
    address: str,
    match_id: int,
    *,
    views: int = 12,
    presses: int = 8,
    played_s: float = 10.0,
) -> Speed:
    """Open a match in a browser again and again, and measure.

    Edits are made and undone; give a library that nobody else needs.

    Parameters
    ----------
    browser
        Chromium; every measured page gets a fresh profile.
    address
        Of a server that was just started.
    match_id
        A match whose footage lasts longer than :data:`STARTS_S` and ``played_s``.
    views
        First views, each in a fresh profile.
    presses
        How often each key of :data:`KEYS` is pressed.
    played_s
        Seconds of footage to play.
    """
    speed = Speed()
    path = f"/match/{match_id}"
    for page in _fresh(browser, address, 1):
        speed.first_ms = _view_ms(page, path, speed)
    speed.parts_ms.clear()
    for page in _fresh(browser, address, views):
        speed.plain_views_ms.append(_plain_view_ms(page))
    for page in _fresh(browser, address, views):
        speed.views_ms.append(_view_ms(page, path, speed))
    for page in _fresh(browser, address, 1):
        _view_ms(page, path, Speed())
        _press_all(page, speed, presses)
    for page in _fresh(browser, address, 1):
        _view_ms(page, path, Speed())
        _play(page, match_id, speed, played_s)
    for page in _fresh(browser, address, 1):
        page.goto(PLAIN)
        _press_plain(page, speed, 2 * presses)
        _play_plain(page, match_id, speed, played_s)
    return speed


def _fresh(browser: Browser, address: str, times: int) -> Iterator[Page]:
    """Pages that never saw the program before."""
    for _ in range(times):
        context: BrowserContext = browser.new_context(
            viewport=WINDOW,  # type: ignore[arg-type]
            base_url=address,
        )
        context.set_default_timeout(PATIENCE_MS)
        context.add_init_script(path=Path(__file__).with_suffix(".js"))
        yield context.new_page()
        context.close()


def _view_ms(page: Page, path: str, speed: Speed) -> float:
    page.goto(path, wait_until="commit")
    parts: dict[str, float] = page.evaluate("pageSpeed.viewed")
    for name, ms in parts.items():
        speed.parts_ms.setdefault(name, []).append(ms)
    return max(parts.values())


def _plain_view_ms(page: Page) -> float:
    page.goto(PLAIN)
    return _number(
        page,
        """new Promise((done) =>
          new PerformanceObserver((seen) => done(seen.getEntries()[0].startTime))
            .observe({type: "paint", buffered: true}))""",
    )


def _number(page: Page, expression: str) -> float:
    found: Any = page.evaluate(expression)
    return float(found)


def _press_all(page: Page, speed: Speed, times: int) -> None:
    for _ in range(times):
        for key, sight in KEYS:
            speed.keys_ms.setdefault(key, []).append(_press_ms(page, key, sight))


def _press_plain(page: Page, speed: Speed, times: int) -> None:
    page.evaluate("document.addEventListener('keydown', () => { document.body.append('.'); })")
    length = "document.body.textContent.length"
    speed.plain_keys_ms = [_press_ms(page, "ArrowRight", length) for _ in range(times)]


def _press_ms(page: Page, key: str, sight: str) -> float:
    page.evaluate(f"pageSpeed.await(() => {sight})")
    page.keyboard.press(key)
    return _number(page, "pageSpeed.effect")


def _play(page: Page, match_id: int, speed: Speed, played_s: float) -> None:
    page.evaluate(f"document.querySelector('video').currentTime = {STARTS_S}")
    page.wait_for_function(f"pageSpeed.overlays.at(-1).media_s > {STARTS_S - 1}")
    page.keyboard.press("Space")
    played = _played(page, played_s)
    speed.frames = _frames(page, match_id, played_s)
    speed.with_skeletons = sum(one["drew"] for one in played)
    speed.overlay_ms = [one["ms"] for one in played]


def _play_plain(page: Page, match_id: int, speed: Speed, played_s: float) -> None:
    page.evaluate(
        """([src, currentTime]) => {
          const video = document.createElement("video");
          Object.assign(video, {src, currentTime, muted: true});
          document.body.replaceChildren(video);
          const next = () => video.requestVideoFrameCallback(next);
          next();
          video.play();
        }""",
        [f"/api/matches/{match_id}/footage", STARTS_S],
    )
    speed.plain_share = len(_played(page, played_s)) / _frames(page, match_id, played_s)


def _played(page: Page, played_s: float) -> list[dict[str, Any]]:
    """The frames that the page was told of, in a stretch that begins once playing has settled."""
    starts_s = STARTS_S + 1
    page.wait_for_function(f"document.querySelector('video').currentTime > {starts_s + played_s}")
    told: list[dict[str, Any]] = page.evaluate("pageSpeed.overlays")
    return [one for one in told if starts_s <= one["media_s"] < starts_s + played_s]


def _frames(page: Page, match_id: int, played_s: float) -> int:
    """Frames that the footage has in such a stretch, by its clock."""
    found: int = page.evaluate(
        """async ([url, from_s, to_s]) => {
          const times = new Float64Array(await (await fetch(url)).arrayBuffer());
          return times.filter((time_s) => from_s <= time_s && time_s < to_s).length;
        }""",
        [f"/api/matches/{match_id}/clock", STARTS_S + 1, STARTS_S + 1 + played_s],
    )
    return found
