"""The kinds of tables that can be analysed: ONE table of what each needs, how it is read, analysed and shown."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from panel.analysis.columns import Columns
from panel.analysis.forced_choice import ForcedChoiceReport
from panel.analysis.kind_answers import (
    forced_choice_table,
    sequential_sections,
    sequential_table,
    studies_sections,
    studies_table,
    two_product_sections,
    two_product_table,
)
from panel.analysis.kind_cooling import cooling_sections, cooling_table
from panel.analysis.kind_drivers import (
    check_all_sections,
    check_all_table,
    just_right_sections,
    just_right_table,
)
from panel.analysis.kind_preference import preference_sections, preference_table
from panel.analysis.kind_ranking import ranking_sections
from panel.analysis.kind_report import Asked, KindReport
from panel.analysis.view_parts import Section

Read = Callable[[Columns, Asked], KindReport | ForcedChoiceReport]
Show = Callable[[KindReport, bool], list[Section]]


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of table.

    needs : the columns it must have, in words; read : None for tables of taster by sample, which are read as scores
    show : its own sections; None where another view shows the report
    """

    name: str
    what: str
    needs: str
    read: Read | None
    show: Show | None

    def sections(self, report: KindReport, figures: bool) -> list[Section]:
        """The kind's own part of the report; ValueError for a kind that another view shows."""
        if self.show is None:
            raise ValueError(f"reports on {self.name} have a view of their own")
        return self.show(report, figures)


KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind("scores", "scores on scales, yes/no answers", "taster, sample, scores", None, None),
        Kind(
            "ranking",
            "ranks, 1 is first; --order for a predicted order",
            "taster, sample, ranks",
            None,
            ranking_sections,
        ),
        Kind(
            "forced-choice",
            "right and wrong answers of a forced-choice test; --test, --pd-limit",
            "correct; taster where tasters answered several times",
            forced_choice_table,
            None,
        ),
        Kind(
            "sequential",
            "the same, decided after each taster; --pd-limit or --d-prime",
            "correct, in the order tasted",
            sequential_table,
            sequential_sections,
        ),
        Kind(
            "preference",
            "paired comparisons of two or more samples",
            "winner and loser, or first, second and choice, or choice alone; taster",
            preference_table,
            preference_sections,
        ),
        Kind(
            "a-not-a",
            "A-not-A test",
            "served and answer, each “A” or “not A”",
            partial(two_product_table, kind="A-not-A"),
            two_product_sections,
        ),
        Kind(
            "same-different",
            "same-different test",
            "served and answer, each “same” or “different”",
            partial(two_product_table, kind="same-different"),
            two_product_sections,
        ),
        Kind(
            "check-all",
            "terms that were ticked (1) or not (0)",
            "taster, sample, a column for each term; liking",
            check_all_table,
            check_all_sections,
        ),
        Kind(
            "just-right",
            "just-about-right scales with liking; --just-right for the middle",
            "taster, sample, liking, a column for each scale",
            just_right_table,
            just_right_sections,
        ),
        Kind(
            "cooling",
            "temperature readings; --ambient, --window",
            "minutes, temperature; series",
            cooling_table,
            cooling_sections,
        ),
        Kind(
            "studies",
            "d′ compared between studies",
            "study, method, correct, answers",
            studies_table,
            studies_sections,
        ),
    )
}


def kind_called(name: str) -> Kind:
    """The kind of that name; ValueError naming the known ones otherwise."""
    try:
        return KINDS[name]
    except KeyError:
        raise ValueError(f"no kind of table is called {name!r}; known: {', '.join(KINDS)}") from None


def kinds_help() -> str:
    """The kinds for a help text: name, what it is and the columns it needs."""
    return "\n\n".join(f"{kind.name}: {kind.what}. Columns: {kind.needs}." for kind in KINDS.values())
