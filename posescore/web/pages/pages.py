"""The pages: HTML that names a component, which then lives on the API like any other program."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any, Final
from urllib.parse import urlencode, urlsplit

from fastapi import APIRouter, FastAPI, Request
from fastapi.responses import FileResponse, HTMLResponse, RedirectResponse, Response
from fastapi.staticfiles import StaticFiles
from jinja2 import Environment

from posescore.errors import PoseScoreError
from posescore.export.across import across_matches, athletes_of
from posescore.export.groups import Group, event_of, group_html, team_of
from posescore.export.page import TranslatedLoader
from posescore.library.athletes import folded, teams_of
from posescore.library.library import Library
from posescore.terms import BONES
from posescore.web.language import A_YEAR_S, LANGUAGE_COOKIE
from posescore.words import LANGUAGES, SOURCE, WORDS, language, phrase, translated

ASSETS: Final = Path(__file__).parents[1] / "assets"
SWITCH: Final = {"en": "English", "pt": "Português (tradução não revista por falante nativo)"}
"""The languages by their own names; what no native speaker has checked says so."""


@cache
def _templates(in_use: str) -> Environment:
    made = Environment(loader=TranslatedLoader("posescore.web.pages"), autoescape=True)
    made.globals.update(language_tag=LANGUAGES[in_use], languages=SWITCH, in_use=in_use)
    return made


class _Assets(StaticFiles):
    """Scripts and styles; browsers ask each time whether theirs is still the newest."""

    def file_response(self, full_path: Any, *args: Any, **kwargs: Any) -> Response:
        response = super().file_response(full_path, *args, **kwargs)
        path = Path(full_path)
        if language() != SOURCE and path.suffix == ".js" and "vendor" not in path.parts:
            response = Response(translated(path.read_text("utf-8")), media_type="text/javascript")
        response.headers["Cache-Control"] = "no-cache"
        response.headers["Vary"] = "Cookie, Accept-Language"
        return response


def add_pages(app: FastAPI, library: Library) -> None:
    """Put the pages beside the API."""
    app.mount("/assets", _Assets(directory=ASSETS), name="assets")
    pages = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)

    @pages.get("/")
    def matches() -> str:
        return _page(
            "library.html", title=phrase("Matches"), component="library/library.js", given={}
        )

    _add_of_a_match(pages, library)
    _add_across(pages, library)
    _add_language(pages)

    @pages.get("/api/docs")
    def docs() -> str:
        return _page("api.html", api=app.openapi())

    @pages.get("/favicon.ico")
    def icon() -> Response:
        return FileResponse(ASSETS / "icon.svg")

    app.include_router(pages)


def _add_of_a_match(pages: APIRouter, library: Library) -> None:
    """What shows one match."""

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

    @pages.get("/match/{match_id:int}/call")
    def call(match_id: int, line: str = "", one: str = "", other: str = "") -> Response:
        return _call(library, match_id, line, (one, other))


def _add_across(pages: APIRouter, library: Library) -> None:
    """What lies across matches."""

    @pages.get("/results")
    def results() -> str:
        component = "results/results.js"
        return _page("match.html", title=phrase("Results"), component=component, given={})

    @pages.get("/athletes")
    def athletes(name: str = "") -> Response:
        return _athletes(library, name)

    @pages.get("/sets")
    def sets(name: str = "") -> str:
        given = {"first": name, "bones": BONES}
        return _page("match.html", title=phrase("Sets"), component="sets/sets.js", given=given)

    @pages.get("/events")
    def events(name: str = "") -> Response:
        return _group(library, event_of, phrase("Event"), name)

    @pages.get("/teams")
    def teams(name: str = "") -> Response:
        return _group(library, team_of, phrase("Team"), name)


def _add_language(pages: APIRouter) -> None:
    @pages.get("/language")
    def choose(request: Request, to: str) -> Response:
        """Keep the language in a cookie, and go back to where it was chosen."""
        back = urlsplit(request.headers.get("referer", "/"))
        answer = RedirectResponse(f"{back.path or '/'}{'?' if back.query else ''}{back.query}", 303)
        answer.set_cookie(LANGUAGE_COOKIE, to, max_age=A_YEAR_S, samesite="lax")
        return answer


def not_found() -> Response:
    """What is shown at an address that is no page of ours."""
    return HTMLResponse(_page("not_found.html"), 404)


def _page(template: str, **what: object) -> str:
    return _templates(language()).get_template(template).render(what)


def _of_match(title: str, component: str, match_id: int, **given: object) -> str:
    """A component that shows the footage of one match."""
    given |= {"matchId": match_id, "bones": BONES}
    return _page("match.html", title=phrase(title), component=component, given=given)


def _athletes(library: Library, name: str) -> Response:
    """One athlete across matches, or the list of all."""
    headers = {"Cache-Control": "no-store"}
    try:
        if name:
            return HTMLResponse(_athlete(library, name), headers=headers)
        found, teams = athletes_of(library), teams_of(library)
        heading = phrase("Athletes across matches" if found else "Athletes")
        rows = [
            {"name": each, "matches": count, "team": teams.get(folded(each), "")}
            for each, count in found.items()
        ]
        page = _page(
            "athletes.html", heading=heading, found=rows, fixed=bool(library.read_only),
            teams=sorted(set(teams.values()), key=str.casefold),
        )  # fmt: skip
        return HTMLResponse(page, headers=headers)
    except PoseScoreError as error:
        page = _page("athletes.html", heading=phrase("Athletes"), trouble=str(error))
        return HTMLResponse(page, error.http_status, headers)


def _group(
    library: Library, find: Callable[[Library, str], Group], heading: str, name: str
) -> Response:
    """A team or an event, or a sentence on why there is none."""
    headers = {"Cache-Control": "no-store"}
    try:
        return HTMLResponse(group_html(find(library, name), heading), headers=headers)
    except PoseScoreError as error:
        page = _page("athletes.html", heading=heading, trouble=str(error))
        return HTMLResponse(page, error.http_status, headers)


def _athlete(library: Library, name: str) -> str:
    from posescore.export.across_page import across_html
    from posescore.export.page import Link

    across = across_matches(library, name)

    def saved(format_name: str) -> str:
        return f"/api/athletes/file?{urlencode({'name': across.name, 'format': format_name})}"

    links = [
        Link("/", phrase("All matches")),
        Link("/athletes", phrase("All athletes")),
        Link(saved("html"), phrase("Save this page"), True),
        Link(saved("csv"), phrase("Save the tables (CSV)"), True),
        Link(saved("json"), phrase("Save the tables (JSON)"), True),
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
