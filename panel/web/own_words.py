"""The organiser's own words: every built-in sentence that tasters of a study read, on one page, before sealing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request, Response

from panel.store import studies
from panel.study.draft_words import parts_in, word_fields
from panel.study.drafting import check_draft
from panel.study.languages import ENGLISH, LANGUAGES
from panel.study.life import Move
from panel.study.problems import Problem
from panel.study.taster_words import ANSWERS, PREFIX, QUESTION, STANDS_FOR
from panel.web.access import OrganisersStudy
from panel.web.pages import InHouse, Sent, page, see_other
from panel.web.study_page import StudyHead, head_of_page
from panel.web.words import words_in

if TYPE_CHECKING:
    from panel.store.tables import Study
    from panel.study.taster_words import Line, Part
    from panel.web.words import Words

router = APIRouter()


@dataclass(frozen=True, slots=True)
class LineShown:
    """One sentence: as it reads without own words, in English too where that differs, and what must be kept of it.

    long : whether it takes more than a line; locked : why it stays as it is, "" where it may be changed
    """

    field: str
    default: str
    english: str
    keep: str
    long: bool
    locked: str


@dataclass(frozen=True, slots=True)
class PartShown:
    """The sentences read in one place. own : how many read otherwise; unfolded : whether they are in sight at once."""

    title: str
    lines: tuple[LineShown, ...]
    own: int
    unfolded: bool


@dataclass(frozen=True, slots=True)
class WordsPage:
    """All parts with what was typed. language : of the tasters' pages, "" for English; as_of : mark of stored words."""

    head: StudyHead
    language: str
    parts: tuple[PartShown, ...]
    typed: dict[str, str]
    problems: tuple[Problem, ...]
    saved: bool
    as_of: str


@router.get("/studies/{study_id}/words")
def show_words(request: Request, study: OrganisersStudy) -> Response:
    studies.require(study, Move.EDIT)
    return _page(request, study, studies.draft_of(study))


@router.post("/studies/{study_id}/words")
def save_words(request: Request, house: InHouse, study: OrganisersStudy, sent: Sent) -> Response:
    """Keep what was typed, always; then say what cannot stand so, or go back to the draft."""
    try:
        with house.database.write() as session:
            study = studies.save_words(session, study.id, sent, sent.get("as_of", ""))
    except studies.DraftChangedError as error:
        study, changed = house.anew(study), Problem("", "changed", str(error))
        return _page(request, study, studies.draft_of(study) | word_fields(sent), (changed,), status=422)
    draft = studies.draft_of(study)
    problems = tuple(one for one in check_draft(draft).problems if one.field.startswith(PREFIX))
    if problems:
        return _page(request, study, draft, problems, status=422)
    if sent.get("go") == "draft":
        return see_other(f"/studies/{study.id}/draft")
    return _page(request, study, draft, saved=True)


def _page(
    request: Request,
    study: Study,
    draft: dict[str, str],
    problems: tuple[Problem, ...] = (),
    *,
    saved: bool = False,
    status: int = 200,
) -> Response:
    typed, words = word_fields(draft), words_in(draft.get("language", ENGLISH))
    wrong = {problem.field for problem in problems}
    context = WordsPage(
        head=head_of_page(study),
        language="" if words.code == ENGLISH else LANGUAGES[words.code].name,
        parts=tuple(_shown(part, words, typed, wrong) for part in parts_in(draft)),
        typed=typed,
        problems=problems,
        saved=saved,
        as_of=studies.words_mark(study),
    )
    return page(request, "organiser/words.html", context, status=status)


def _shown(part: Part, words: Words, typed: dict[str, str], wrong: set[str]) -> PartShown:
    own = sum(bool(typed.get(line.field, "").strip()) and not line.locked for line in part.lines)
    return PartShown(
        title=part.title,
        lines=tuple(_line(line, words) for line in part.lines),
        own=own,
        unfolded=own > 0
        or part.title.startswith((QUESTION, ANSWERS))
        or bool(wrong & {line.field for line in part.lines}),
    )


def _line(line: Line, words: Words) -> LineShown:
    default = words(line.text)
    kept = [f"{{{name}}} for {STANDS_FOR.get(name, 'what is filled in')}" for name in line.placeholders]
    return LineShown(
        field=line.field,
        default=default,
        english=line.text if default != line.text else "",
        keep=f"Keep {' and '.join(kept)}." if kept else "",
        long=len(line.text) > 60,
        locked=line.locked,
    )
