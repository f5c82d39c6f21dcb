"""Looking closer: footage enlarged by hand, wheel and key; stills cut to what a criterion is on."""

from __future__ import annotations

import io

import pytest
from PIL import Image
from playwright.sync_api import Page, expect

from tests.browser.conftest import PHONE
from tests.browser.room import close_window, drawn_frame, faults, named_frame, open_match

pytestmark = pytest.mark.browser

TIMES = "() => new DOMMatrix(getComputedStyle(document.querySelector('.stage video')).transform).a"


def times(page: Page) -> float:
    return float(page.evaluate(TIMES))


def test_wheel_key_and_buttons_enlarge(page: Page) -> None:
    open_match(page)
    assert times(page) == 1
    page.keyboard.press("9")
    assert times(page) == pytest.approx(1.5)
    page.keyboard.press("8")
    assert times(page) == pytest.approx(1)
    box = page.locator(".stage").bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + box["width"] * 0.3, box["y"] + box["height"] * 0.5)
    page.mouse.wheel(0, -400)
    page.wait_for_function(f"({TIMES})() > 1.5")
    page.keyboard.press("0")
    assert times(page) == 1
    page.get_by_role("button", name="Closer", exact=True).click()
    assert times(page) == pytest.approx(1.5)
    page.mouse.move(box["x"] + 200, box["y"] + 100)
    page.mouse.down()
    page.mouse.move(box["x"] + 120, box["y"] + 100, steps=4)
    page.mouse.up()
    expect(
        page.get_by_role("button", name="Play", exact=True)
    ).to_be_visible()  # dragged, not pressed
    page.keyboard.press("n")
    expect(page.locator("#frame-now")).to_have_text("100")
    assert drawn_frame(page) == named_frame(page)  # the picture is the same, only larger
    assert faults(page) == []


def test_two_fingers_enlarge(page: Page) -> None:
    page.set_viewport_size(PHONE)  # type: ignore[arg-type]
    open_match(page)
    box = page.locator(".stage").bounding_box()
    assert box is not None
    touch = page.context.new_cdp_session(page)
    middle = (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)

    def fingers(kind: str, apart: float) -> None:
        points = [
            {"x": middle[0] + side * apart, "y": middle[1], "id": i}
            for i, side in enumerate((-1, 1))
        ]
        sent = {"type": kind, "touchPoints": [] if kind == "touchEnd" else points}
        touch.send("Input.dispatchTouchEvent", sent)

    fingers("touchStart", 30)
    for apart in (40, 60, 80):
        fingers("touchMove", apart)
    fingers("touchEnd", 0)
    assert times(page) > 2


def test_the_pair_is_followed(page: Page) -> None:
    open_match(page)
    page.keyboard.press("7")
    page.wait_for_function(f"({TIMES})() > 1.1")
    place = "() => getComputedStyle(document.querySelector('.stage video')).transform"
    first = page.evaluate(place)
    for _ in range(3):
        page.keyboard.press("Shift+ArrowRight")
    expect(page.locator("#frame-now")).to_have_text("150")
    assert page.evaluate(place) != first
    page.keyboard.press("7")
    assert times(page) == 1


def test_full_screen_and_back(page: Page) -> None:
    open_match(page)
    page.get_by_role("button", name="Full screen").click()
    page.wait_for_function("document.fullscreenElement?.className === 'watch'")
    expect(page.get_by_role("button", name="Play", exact=True)).to_be_visible()
    page.keyboard.press("d")
    page.wait_for_function("!document.fullscreenElement")


def test_slower_steps(page: Page) -> None:
    open_match(page)
    for _ in range(3):
        page.keyboard.press("-")
    expect(page.get_by_label("Speed")).to_have_text("0.1×")


def test_a_silent_clip_says_so(page: Page) -> None:
    open_match(page)
    page.get_by_role("button", name="Sound", exact=True).click()
    expect(page.locator("#said")).to_contain_text("no sound")


def test_a_criterion_is_looked_at_in_a_window(page: Page) -> None:
    open_match(page)
    for _ in range(3):
        page.keyboard.press("ArrowDown")
    with page.expect_response("**/stills/*part=knees*") as asked:
        page.get_by_role("button", name="Look at the knees").first.click()
    part = Image.open(io.BytesIO(asked.value.body()))
    window = page.get_by_role("dialog", name="A closer look")
    expect(window).to_contain_text("The knees of Ines Vaz, 0:29.00, frame 290")
    assert faults(page) == []
    with page.expect_response("**/stills/291*"):
        page.keyboard.press("ArrowRight")
    expect(window).to_contain_text("frame 291")
    with page.expect_response("**/stills/291*whole=true*") as asked:
        window.get_by_label("What is shown").select_option("whole")
    whole = Image.open(io.BytesIO(asked.value.body()))
    assert whole.width > 2 * part.width
    with page.expect_response("**/stills/291*skeletons=false*"):
        window.get_by_label("Skeletons").uncheck()
    close_window(page)


def test_every_still_can_be_enlarged(page: Page) -> None:
    open_match(page)
    page.keyboard.press("n")
    page.get_by_role("button", name="Enlarge: It begins").click()
    expect(page.get_by_role("dialog", name="A closer look")).to_contain_text("frame 70")
    close_window(page)
    page.keyboard.press("4")
    expect(page.get_by_role("dialog", name="A closer look")).to_contain_text("frame 100")
    close_window(page)


@pytest.mark.parametrize("path", ["/match/1", "/match/1/lesson", "/match/1/opinions"])
def test_skeletons_lie_on_the_picture_at_any_size(page: Page, path: str) -> None:
    """The picture fills its place: beside bars of black the skeletons would stand next to it."""
    page.goto(path)
    page.wait_for_selector(".bar")
    for width, height in (
        (1440, 900),
        (1000, 800),
        (760, 1000),
        (390, 844),
        (844, 390),
        (320, 256),
    ):
        page.set_viewport_size({"width": width, "height": height})
        for box in page.locator(".stage").evaluate_all(
            "all => all.map((one) => [one.clientWidth, one.clientHeight])"
        ):
            assert box[0] / box[1] == pytest.approx(16 / 9, rel=0.02), (width, height)
