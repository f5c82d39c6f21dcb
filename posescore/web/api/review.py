"""The review of a match: read, edited, undone and redone."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Annotated, Any, Final

from fastapi import APIRouter, Body, Header, Response
from pydantic import TypeAdapter, WithJsonSchema

from posescore.errors import ChangedMeanwhileError, InputError, PoseScoreError
from posescore.export.export import FORMATS
from posescore.export.summary import curve_of
from posescore.export.unseen import unseen_words
from posescore.library.analysis import Analysis
from posescore.library.library import Library
from posescore.library.match import Match
from posescore.library.review.edits import EDITS, Edit
from posescore.library.review.review import Review
from posescore.library.store.plain import utf8
from posescore.pose.track import PairTrack
from posescore.web.api import schemas, views
from posescore.web.api.proposals import proposals_out
from posescore.web.api.review_shapes import ReviewOut
from posescore.web.api.track import CHUNK_ROWS, Tracks, chunk_firsts
from posescore.words import phrase, with_names


def _schema_of(kind: str, edit: type[Edit]) -> dict[str, Any]:
    """JSON Schema of one kind of edit, with everything it refers to written in place."""
    raw = TypeAdapter(edit).json_schema()
    schema: dict[str, Any] = _in_place(raw, raw.pop("$defs", {}))
    schema["properties"] = {"kind": {"const": kind}, **schema.get("properties", {})}
    schema["required"] = ["kind", *schema.get("required", [])]
    return schema


def _in_place(part: Any, definitions: Mapping[str, Any]) -> Any:
    if isinstance(part, list):
        return [_in_place(one, definitions) for one in part]
    if not isinstance(part, dict):
        return part
    if "$ref" in part:
        return _in_place(definitions[str(part["$ref"]).rsplit("/", 1)[-1]], definitions)
    return {name: _in_place(value, definitions) for name, value in part.items()}


LONGEST_TEXT: Final = 4000
"""A page of reasons. A judgement."""
EDIT_SCHEMA: Final = {"oneOf": [_schema_of(kind, edit) for kind, edit in EDITS.items()]}


Seen = Annotated[str | None, Header()]
"""The ``If-Match`` of an edit."""


class EditIn(schemas.By):
    """One edit and who makes it.

    A wrong edit is answered with the library's own sentence, which names the kind and the field.
    """

    edit: Annotated[dict[str, Any], WithJsonSchema(EDIT_SCHEMA)]


def check_texts(given: object) -> None:
    """Refuse an edit with a text that nobody writes, or that is none.

    Raises
    ------
    InputError
        One sentence.
    """
    if isinstance(given, dict):
        for name, value in given.items():
            check_texts(name)
            check_texts(value)
    elif isinstance(given, list):
        for value in given:
            check_texts(value)
    elif isinstance(given, str):
        if len(given) > LONGEST_TEXT:
            raise InputError(f"edit: a text is longer than {LONGEST_TEXT} letters: shorten it.")
        if utf8(given) != given:
            raise InputError("edit: a text holds half a letter, which UTF-8 cannot: correct it.")


Out = Callable[[int, Review, str, Response], ReviewOut]


def review_router(library: Library, tracks: Tracks) -> APIRouter:
    """The endpoints for the review of a match."""
    router = APIRouter(prefix="/matches/{match_id}")

    def out(match_id: int, review: Review, opinion: str, response: Response) -> ReviewOut:
        response.headers["Cache-Control"] = "no-store"
        response.headers["ETag"] = f'"{review.last_entry_id}"'
        return _review_out(library, tracks, library.match(match_id), review, opinion)

    _add_edits(router, library, out)
    _add_history(router, library, out)
    return router


def _add_edits(router: APIRouter, library: Library, out: Out) -> None:
    """What stands, and what changes it."""

    @router.get("", summary="One match with its review")
    def review(
        match_id: int, response: Response, opinion: str = "", author: str | None = None
    ) -> ReviewOut:
        """The match as it stands: holds, proposals, decisions, score.

        ``author`` is whose undo and redo it tells; left out, those of whoever was last.
        """
        return out(match_id, library.review(match_id, opinion, author=author), opinion, response)

    @router.post("/edits", summary="Do an edit")
    def edit(
        match_id: int, body: Annotated[EditIn, Body()], response: Response, if_match: Seen = None
    ) -> ReviewOut:
        """Do one edit; it is on the disk when the answer comes."""
        check_texts(body.edit)
        wanted, author = Edit.from_json(body.edit), body.author or schemas.SOMEBODY
        seen = body.seen if if_match is None else _entry_of(if_match)
        try:
            made = library.edit(match_id, wanted, author, body.opinion, seen)
        except ChangedMeanwhileError as error:
            names = library.match(match_id).info.names
            error.before, error.now = (with_names(s, names) for s in (error.before, error.now))
            raise
        return out(match_id, made, body.opinion, response)


def _add_history(router: APIRouter, library: Library, out: Out) -> None:
    """Edits taken back and put back."""

    @router.post("/undo", summary="Undo")
    def undo(match_id: int, by: Annotated[schemas.By, Body()], response: Response) -> ReviewOut:
        """Take back the author's own newest edit in force."""
        made = library.undo(match_id, by.author or schemas.SOMEBODY, by.opinion)
        return out(match_id, made, by.opinion, response)

    @router.post("/redo", summary="Redo")
    def redo(match_id: int, by: Annotated[schemas.By, Body()], response: Response) -> ReviewOut:
        """Put back what the author took back last."""
        made = library.redo(match_id, by.author or schemas.SOMEBODY, by.opinion)
        return out(match_id, made, by.opinion, response)

    @router.post("/history/{entry_id}/take-back", summary="Take back any entry")
    def take_back(
        match_id: int, entry_id: int, by: Annotated[schemas.By, Body()], response: Response
    ) -> ReviewOut:
        """Take back an edit, whoever made it; what was done since stays."""
        made = library.take_back(match_id, entry_id, by.author or schemas.SOMEBODY, by.opinion)
        return out(match_id, made, by.opinion, response)

    @router.post("/history/{entry_id}/put-back", summary="Put an entry back in force")
    def put_back(
        match_id: int, entry_id: int, by: Annotated[schemas.By, Body()], response: Response
    ) -> ReviewOut:
        """Put an edit that was taken back in force again, where it was."""
        made = library.put_back(match_id, entry_id, by.author or schemas.SOMEBODY, by.opinion)
        return out(match_id, made, by.opinion, response)


def _entry_of(tag: str) -> int:
    """The entry that an ``If-Match`` names: the tag that came with the review."""
    number = tag.strip().removeprefix("W/").strip('"')
    if not number.isdecimal():
        raise InputError("If-Match: give the ETag that came with the review.")
    return int(number)


def _review_out(
    library: Library, tracks: Tracks, match: Match, review: Review, opinion: str
) -> ReviewOut:
    analysis = library.analysis(match.id, review.analysis_version)
    track, trouble = _track_or_trouble(tracks, analysis)
    made = {
        **views.fields_of(review),
        "match": views.match_out(match),
        "footage": _footage_out(match, analysis, track),
        "track": _track_out(match, track),
        "holds": [views.hold_out(kept) for kept in review.holds],
        "events": [views.event_out(kept) for kept in review.events],
        "proposals": proposals_out(review, match),
        "score": {
            "confirmed": views.tallies(review.confirmed_score),
            "proposed": views.tallies(review.proposed_score),
        },
        "curve": curve_of(review.counted, review),
        "result": views.result_out(review.confirmed_result, match.info.names),
        "ending": views.ending_out(review, match.info.names),
        "unseen": unseen_words(review),
        "findings": [
            {**views.fields_of(f), **views.fields_of(f.interval)} for f in review.findings
        ],
        "set_aside": [
            *trouble,
            *([analysis.doubt] if analysis.doubt else []),
            *(aside.why for aside in review.set_aside),
        ],
        "match_clock": views.match_clock_out(review),
        "values": dict(review.rule_set.points),
        "exports": [{"name": name, "text": phrase(known.text)} for name, known in FORMATS.items()],
        "undo": views.entry_words(review.next_undo),
        "redo": views.entry_words(review.next_redo),
        "opinion": opinion,
        "read_only": library.read_only,
    }
    return ReviewOut.model_validate(made)


def _track_or_trouble(tracks: Tracks, analysis: Analysis) -> tuple[PairTrack | None, list[str]]:
    """The track, or why it cannot be shown: holds and decisions stay readable without it."""
    try:
        return tracks.of(analysis), []
    except PoseScoreError as error:
        return None, [str(error)]


def _footage_out(match: Match, analysis: Analysis, track: PairTrack | None) -> schemas.FootageOut:
    width, height = track.picture_size_px if track else (16, 9)
    return schemas.FootageOut(
        url=f"/api/matches/{match.id}/footage",
        width=width,
        height=height,
        n_frames=len(analysis.clock),
        end_s=analysis.clock.end_s,
    )


def _track_out(match: Match, track: PairTrack | None) -> schemas.TrackOut | None:
    if track is None or not len(track):
        return None
    return schemas.TrackOut(
        url=f"/api/matches/{match.id}/track",
        n_rows=len(track),
        chunk_rows=CHUNK_ROWS,
        first_frames=chunk_firsts(track),
    )
