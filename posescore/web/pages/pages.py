"""The pages: HTML that names a component, which then lives on the API like any other program."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final
from urllib.parse import urlencode

from fastapi import APIRouter, FastAPI
from fastapi.responses import FileResponse, HTMLResponse, Response
from fastapi.staticfiles import StaticFiles
from jinja2 import Environment, PackageLoader

from posescore.errors import PoseScoreError
from posescore.export.across import across_matches, athletes_of
from posescore.library.library import Library
from posescore.terms import BONES
from posescore.words import WORDS

ASSETS: Final = Path(__file__).parents[1] / "assets"
_TEMPLATES: Final = Environment(loader=PackageLoader("posescore.web.pages"), autoescape=True)


class _Assets(StaticFiles):
    """Scripts and styles; browsers ask each time whether theirs is still the newest."""

    def file_response(self, *args: Any, **kwargs: Any) -> Response:
        response = super().file_response(*args, **kwargs)
        response.headers["Cache-Control"] = "no-cache"
        return response


def add_pages(app: FastAPI, library: Library) -> None:
    """Put the pages beside the API."""
    app.mount("/assets", _Assets(directory=ASSETS), name="assets")
    pages = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)

    @pages.get("/")
    def matches() -> str:
        return _page("library.html", title="Matches", component="library/library.js", given={})

    @pages.get("/match/{match_id:int}")
    def review(match_id: int, opinion: str = "") -> str:
        return _of_match("Review", "review/review.js", match_id, opinion=opinion)

    @pages.get("/match/{match_id:int}/opinions")
    def opinions(match_id: int, one: str = "", other: str = "") -> str:
        given = {"first": one, "second": other}
        return _of_match("Second opinion", "opinions/opinions.js", match_id, **given)

    @pages.get("/match/{match_id:int}/lesson")
    def lesson(match_id: int) -> str:
        return _of_match("Lesson", "lesson/lesson.js", match_id)

    @pages.get("/results")
    def results() -> str:
        return _page("match.html", title="Results", component="results/results.js", given={})

    @pages.get("/match/{match_id:int}/call")
    def call(match_id: int, line: str = "", one: str = "", other: str = "") -> Response:
        return _call(library, match_id, line, (one, other))

    @pages.get("/athletes")
    def athletes(name: str = "") -> Response:
        return _athletes(library, name)

    @pages.get("/api/docs")
    def docs() -> str:
        return _page("api.html", api=app.openapi())

    @pages.get("/favicon.ico")
    def icon() -> Response:
        return FileResponse(ASSETS / "icon.svg")

    app.include_router(pages)


def not_found() -> Response:
    """What is shown at an address that is no page of ours."""
    return HTMLResponse(_page("not_found.html"), 404)


def _page(template: str, **what: object) -> str:
    return _TEMPLATES.get_template(template).render(what)


def _of_match(title: str, component: str, match_id: int, **given: object) -> str:
    """A component that shows the footage of one match."""
    given |= {"matchId": match_id, "bones": BONES}
    return _page("match.html", title=title, component=component, given=given)


def _athletes(library: Library, name: str) -> Response:
    """One athlete across matches, or the list of all."""
    headers = {"Cache-Control": "no-store"}
    try:
        if name:
            return HTMLResponse(_athlete(library, name), headers=headers)
        found = athletes_of(library)
        heading = "Athletes across matches" if found else "Athletes"
        return HTMLResponse(_page("athletes.html", heading=heading, found=found), headers=headers)
    except PoseScoreError as error:
        page = _page("athletes.html", heading="Athletes", trouble=str(error))
        return HTMLResponse(page, error.http_status, headers)


def _athlete(library: Library, name: str) -> str:
    from posescore.export.across_page import across_html
    from posescore.export.page import Link

    across = across_matches(library, name)

    def saved(format_name: str) -> str:
        return f"/api/athletes/file?{urlencode({'name': across.name, 'format': format_name})}"

    links = [
        Link("/", "All matches"),
        Link("/athletes", "All athletes"),
        Link(saved("html"), "Save this page", True),
        Link(saved("csv"), "Save the tables (CSV)", True),
        Link(saved("json"), "Save the tables (JSON)", True),
    ]
    return across_html(across, links)


def _call(library: Library, match_id: int, line: str, opinions: tuple[str, str]) -> Response:
    """The sheet for one call, with links that save it."""
    from posescore.export.call_sheet import call_html, call_of
    from posescore.export.page import Link

    headers = {"Cache-Control": "no-store"}
    try:
        sheet = call_of(library, match_id, line, opinions)
        asked = urlencode({"line": line, "one": opinions[0], "other": opinions[1]})
        address = f"/api/matches/{match_id}/call?{asked}"
        links = [
            Link(f"/match/{match_id}", WORDS["call"]["back"]),
            Link(f"{address}&format=html", WORDS["call"]["save_html"], True),
            Link(f"{address}&format=pdf", WORDS["call"]["save_pdf"], True),
        ]
        return HTMLResponse(call_html(sheet, links), headers=headers)
    except PoseScoreError as error:
        page = _page("athletes.html", heading=WORDS["call"]["heading"], trouble=str(error))
        return HTMLResponse(page, error.http_status, headers)
