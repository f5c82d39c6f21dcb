"""The pages in their second language: everything that is said, and nothing of the first left."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import DESK, PATIENCE_MS, Server, Watch
from tests.browser.room import close_window, faults

pytestmark = pytest.mark.browser

SAID = """() => {
  const said = new Set();
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const place = walk.currentNode.parentElement;
    if (place.closest("script, style, kbd, code, .languages")) continue;
    said.add(walk.currentNode.textContent.trim());
  }
  for (const one of document.querySelectorAll("[aria-label], [title], [placeholder], [alt]")) {
    if (one.closest(".languages")) continue;
    for (const name of ["aria-label", "title", "placeholder", "alt"]) {
      said.add(one.getAttribute(name) ?? "");
    }
  }
  return [...said].map((text) => text.replace(/\\s+/g, " ").trim());
}"""
ENGLISH = re.compile(
    r"\b(the|and|of|is|are|with|for|from|this|that|what|who|not|here|yet|by|was|were|has|have|it"
    r"|confirm|points?|match|matches|proposals?|frames?|holds?|save|show|both|nobody|time|page"
    r"|sure|under|behind|top|add|knee|past|legs|began|begins|ends|lines?|opponent)\b",
    re.IGNORECASE,
)
"""Small words of the one language that the other has not; names of the demo hold none of them."""
GIVEN = (
    "frames a second", "variable rate", "Lakeside Cup", "open", "PoseScore",
    "The boxes overlap", "left knee stays", "both heels inside", "Home", "End",
)  # fmt: skip
"""What people or an analysis wrote: kept as it was written."""
WINDOWS = "?cxir4l"


@pytest.fixture
def page(browser: Browser, server: Server, watch: Watch) -> Iterator[Page]:
    """A window whose browser asks for Portuguese."""
    context = browser.new_context(viewport=DESK, base_url=server.address, locale="pt-BR")  # type: ignore[arg-type]
    page = context.new_page()
    page.set_default_timeout(PATIENCE_MS)
    watch.over(page)
    yield page
    context.close()
    assert watch.said == []


def left_over(page: Page) -> list[str]:
    """What is still said in English."""
    said = [text for text in page.evaluate(SAID) if not any(part in text for part in GIVEN)]
    return sorted(text for text in said if ENGLISH.search(text))


@pytest.mark.parametrize(
    "path", ["/", "/match/1/opinions", "/match/1/lesson", "/athletes", "/athletes?name=Ines+Vaz"]
)
def test_a_page_says_nothing_in_english(page: Page, path: str) -> None:
    page.goto(path)
    page.wait_for_selector("h1")
    page.wait_for_timeout(300)
    expect(page.locator("html")).to_have_attribute("lang", "pt-BR")
    assert left_over(page) == []
    assert faults(page) == []


def test_the_review_says_nothing_in_english(page: Page) -> None:
    page.goto("/match/1")
    page.wait_for_selector(".proposal")
    for _ in range(5):
        page.keyboard.press("ArrowDown")
        page.wait_for_selector(".criteria")
        assert left_over(page) == []
    expect(page.locator("#said")).to_contain_text("Linha 5 de 5")
    for key in WINDOWS:
        page.keyboard.press(key)
        expect(page.locator("dialog")).to_be_visible()
        assert left_over(page) == [], key
        close_window(page)
    page.keyboard.press("v")
    expect(page.locator("dialog")).to_be_visible()
    assert left_over(page) == []
    close_window(page)
    go_to_time = page.get_by_label("Tempo como minutos:segundos")
    page.keyboard.press("g")
    expect(go_to_time).to_be_visible()
    assert left_over(page) == []
    close_window(page)
    page.keyboard.press("y")
    expect(page.locator("#said")).to_contain_text("Confirmado: ")
    assert left_over(page) == []
    page.keyboard.press("u")
    expect(page.locator("#said")).to_contain_text("Desfeito: confirmar uma proposta")


def test_the_switch_chooses_and_stays(page: Page) -> None:
    page.goto("/match/1")
    page.wait_for_selector(".proposal")
    page.get_by_role("link", name="English").click()
    page.wait_for_url("**/match/1")
    expect(page.get_by_role("button", name="Next to decide")).to_be_visible()
    page.goto("/")
    expect(page.get_by_role("button", name="Add matches")).to_be_visible()
    page.get_by_role("link", name="Português").click()
    expect(page.get_by_role("button", name="Adicionar lutas")).to_be_visible()
    expect(page.get_by_role("link", name="Português")).to_contain_text(
        "não revista por falante nativo"
    )
