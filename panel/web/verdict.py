"""The verdict's page: scorecard, weights to move, price, instrument and tongue; and tables that readers can take."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request, Response

from panel.store import studies
from panel.study import bundle
from panel.study.life import State
from panel.study.problems import Problem
from panel.web.access import AnalystsStudy
from panel.web.pages import InHouse, notice, page, wants_fragment
from panel.web.study_page import StudyHead, head_of_page
from panel.web.verdict_inputs import has_verdict, inputs_of
from panel.web.verdict_parts import RESTS, comparable, settled
from panel.web.verdict_table import as_csv, table_file

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from panel.analysis.figures import Figure
    from panel.analysis.view_parts import Section
    from panel.bench.findings import ProductCard
    from panel.bench.methods_text import Paragraph
    from panel.store.tables import Study
    from panel.study.measuring import Bench
    from panel.web.house import House
    from panel.web.verdict_parts import Settled

router = APIRouter()
MOST = 100


@dataclass(frozen=True, slots=True)
class Slider:
    """One weight that can be moved. value, sealed : per cent of the total, or of its group."""

    name: str
    label: str
    value: int
    sealed: int


@dataclass(frozen=True, slots=True)
class Sliders:
    """All weights that decide: of the groups where there are several, and inside each that has several criteria."""

    groups: tuple[Slider, ...]
    inside: tuple[tuple[str, tuple[Slider, ...]], ...]

    def all(self) -> tuple[Slider, ...]:
        """Every slider, groups first."""
        return (*self.groups, *(slider for _name, sliders in self.inside for slider in sliders))

    @property
    def moved(self) -> bool:
        """Whether any stands elsewhere than it was sealed."""
        return any(slider.value != slider.sealed for slider in self.all())


@dataclass(frozen=True, slots=True)
class VerdictPage:
    """The whole page; `weighed` is its part that changes with the weights."""

    head: StudyHead
    said: tuple[str, ...]
    remarks: tuple[str, ...]
    rests: str
    figure: Figure | None
    sections: tuple[Section, ...]
    cards: tuple[ProductCard, ...]
    methods: tuple[Paragraph, ...]
    cautions: tuple[str, ...]
    sliders: Sliders
    measured: tuple[tuple[str, str], ...]
    perceived: tuple[tuple[str, str], ...]
    chosen: dict[str, str]
    problems: tuple[Problem, ...]


@router.get("/studies/{study_id}/verdict")
def show_verdict(request: Request, house: InHouse, study: AnalystsStudy) -> Response:
    if (refused := _refused(request, study)) is not None:
        return refused
    bench = studies.plan_of(study).bench
    sliders, problems = _read_sliders(bench, request.query_params)
    chosen = {name: request.query_params.get(name, "") for name in ("measured", "perceived")}
    compare = (chosen["measured"], chosen["perceived"]) if all(chosen.values()) else None
    groups, criteria = _weights(sliders)
    found = settled(house, study, groups=groups, criteria=criteria, compare=compare)
    context = _page(house, study, found, sliders, chosen, problems)
    block = "weighed" if wants_fragment(request) else None
    return page(request, "verdict/verdict.html", context, block=block, status=422 if problems else 200)


@router.get("/studies/{study_id}/verdict.csv")
def take_csv(request: Request, house: InHouse, study: AnalystsStudy) -> Response:
    if (refused := _refused(request, study)) is not None:
        return refused
    text = as_csv(inputs_of(house, study).verdict())
    return Response(
        "\ufeff" + text,
        media_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": 'attachment; filename="verdict.csv"', "Cache-Control": "no-store"},
    )


@router.get("/studies/{study_id}/verdict-table.html")
def take_table(request: Request, house: InHouse, study: AnalystsStudy) -> Response:
    if (refused := _refused(request, study)) is not None:
        return refused
    headers = {
        "Content-Disposition": f'attachment; filename="{bundle.VERDICT_TABLE}"',
        "Cache-Control": "no-store",
    }
    return Response(table_file(house, study), media_type="text/html; charset=utf-8", headers=headers)


def _refused(request: Request, study: Study) -> Response | None:
    if study.state != State.REVEALED:
        text = (
            "Taste is known by blind letter and the bench by name: the two meet when the names are revealed, "
            "after the report is signed."
        )
        return notice(request, 409, "The verdict waits for the reveal", text, f"/studies/{study.id}", "Back")
    if not has_verdict(study):
        text = (
            "This study was sealed without criteria, so that there is nothing to weigh. Criteria belong to the draft: "
            "copy the study as the next round and add them there."
        )
        return notice(request, 409, "No criteria were sealed", text, f"/studies/{study.id}", "Back")
    return None


def _page(
    house: House,
    study: Study,
    found: Settled,
    sliders: Sliders,
    chosen: dict[str, str],
    problems: tuple[Problem, ...],
) -> VerdictPage:
    measured, perceived = comparable(found.inputs)
    say = house.local.part
    return VerdictPage(
        head=head_of_page(study),
        said=say(found.said),
        remarks=found.remarks,
        rests=RESTS,
        figure=say(found.figure) if found.figure else None,
        sections=say(found.sections),
        cards=say(found.cards),
        methods=found.methods,
        cautions=found.cautions,
        sliders=sliders,
        measured=measured,
        perceived=perceived,
        chosen=chosen,
        problems=problems,
    )


def _sealed_sliders(bench: Bench) -> Sliders:
    weighed = [one for one in bench.criteria if one.weighed]
    groups = [group for group in bench.groups if any(one.group == group.name for one in weighed)]
    inside = []
    for group in groups:
        mine = [one for one in weighed if one.group == group.name]
        if len(mine) > 1:
            inside.append((group.name, _row((f"w-{one.key}", one.name, one.weight) for one in mine)))
    among = [(f"g-{place}", group.name, group.weight) for place, group in enumerate(groups)]
    return Sliders(_row(among) if len(groups) > 1 else (), tuple(inside))


def _row(weights: Iterable[tuple[str, str, float]]) -> tuple[Slider, ...]:
    """A slider for each field, label and weight, all at their share of the row's sum."""
    rows = list(weights)
    whole = sum(weight for _name, _label, weight in rows)
    shares = [round(MOST * weight / whole) for _name, _label, weight in rows]
    return tuple(
        Slider(name, label, share, share) for (name, label, _), share in zip(rows, shares, strict=True)
    )


def _read_sliders(bench: Bench, sent: Mapping[str, str]) -> tuple[Sliders, tuple[Problem, ...]]:
    """The sliders as sent. What is no whole number up to 100 leaves its slider where it was sealed, and is said."""
    sealed = _sealed_sliders(bench)
    problems: list[Problem] = []

    def read(slider: Slider) -> Slider:
        typed = sent.get(slider.name, "").strip()
        if not typed:
            return slider
        if not typed.isdecimal() or len(typed) > len(str(MOST)) or int(typed) > MOST:
            text = f"Write the weight of “{slider.label}” as a whole number from 0 to {MOST}."
            problems.append(Problem(slider.name, "not_in_range", text))
            return slider
        return Slider(slider.name, slider.label, int(typed), slider.sealed)

    groups = tuple(read(slider) for slider in sealed.groups)
    inside = tuple((name, tuple(read(slider) for slider in sliders)) for name, sliders in sealed.inside)
    for sliders in (groups, *(part for _name, part in inside)):
        if sliders and not any(slider.value for slider in sliders):
            text = "Leave at least one weight above 0: with all at nothing there is no total."
            problems.append(Problem(sliders[0].name, "no_weight", text))
    return (sealed if problems else Sliders(groups, inside)), tuple(problems)


def _weights(sliders: Sliders) -> tuple[dict[str, float], dict[str, float]]:
    """Weights of groups by name and of criteria by key, in each row where one was moved; the others keep the plan's."""

    def moved(row: tuple[Slider, ...]) -> tuple[Slider, ...]:
        return row if any(slider.value != slider.sealed for slider in row) else ()

    return (
        {slider.label: float(slider.value) for slider in moved(sliders.groups)},
        {
            slider.name.removeprefix("w-"): float(slider.value)
            for _name, row in sliders.inside
            for slider in moved(row)
        },
    )
