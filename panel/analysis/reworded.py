"""What tasters read in the organiser's own words, in place of the built-in ones, as a part of the report."""

from __future__ import annotations

from typing import TYPE_CHECKING

from panel.analysis.view_parts import Column, Section, Table
from panel.study.languages import ENGLISH, LANGUAGES
from panel.study.scales import scale_of
from panel.study.taster_words import ANSWERS, QUESTION, changed, parts_of
from panel.study.test_methods import method_of
from stats.phrasing import count

if TYPE_CHECKING:
    from panel.study.plan import Plan

NOT_STANDARD = (
    "A scale whose words were changed is not the standard one any more: its scores do not compare with those of "
    "studies that used the standard words."
)
NOT_THE_METHOD = (
    "The test’s question was put in other words than the standard’s: what tasters did may differ with it."
)


def words_section(plan: Plan) -> tuple[Section, ...]:
    """Every sentence that was changed, by where it is read; nothing where none was."""
    parts = parts_of(method_of(plan.method), [scale_of(question.scale) for question in plan.questions])
    found = changed(plan.words, parts)
    if not found:
        return ()
    language = LANGUAGES.get(plan.language, LANGUAGES[ENGLISH])
    said = ["Sealed with the plan, these stood in place of the built-in words."]
    if language.code != ENGLISH:
        said.append(f"The built-in words are given in English; tasters read {language.name}.")
    if any(title.startswith(ANSWERS) for title in found):
        said.append(NOT_STANDARD)
    if any(title.startswith(QUESTION) for title in found):
        said.append(NOT_THE_METHOD)
    columns = (Column("Built-in words", numeric=False), Column("Tasters read", numeric=False))
    tables = tuple(Table(title, columns, lines) for title, lines in found.items())
    gist = f"{count(sum(map(len, found.values())), 'sentence')} in the organiser’s own words"
    return (Section("words", "Words tasters read", tuple(said), tables=tables, gist=gist),)
