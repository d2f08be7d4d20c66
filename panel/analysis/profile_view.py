"""The profile of the samples: a map of their adjusted means over intensities, and a line for each."""

from __future__ import annotations

from typing import TYPE_CHECKING

from panel.analysis.figures_maps import profile_lines, profile_map
from panel.analysis.numbers import as_sentence, fixed
from panel.analysis.view_parts import Column, Section, Table
from stats.phrasing import count, percent

if TYPE_CHECKING:
    from panel.analysis.score_report import ScoreReport
    from panel.analysis.wording import Called
    from stats.profile import Profile


def profile_section(report: ScoreReport, called: Called, *, figures: bool) -> Section | None:
    """None for fewer than three samples or intensities."""
    found = report.profile
    if found is None:
        return None
    titles = {one.attribute: one.title for one in report.attributes}
    drawn = [profile_map(found, titles=titles, called=called)] if figures else []
    samples = [point.sample for point in found.samples]
    used = {name for name, _ in found.means}
    shown = [one.found for one in report.attributes if one.attribute in used]
    means = {
        called(sample): {titles.get(name, name): row[place] for name, row in found.means}
        for place, sample in enumerate(samples)
    }
    if figures and not found.scaled:
        lines = profile_lines(means, axis="adjusted mean", title="Adjusted means over the attributes")
        drawn += [lines] if lines is not None else []
    table = Table(
        caption="Adjusted means behind the map",
        columns=(
            Column("Sample", numeric=False),
            *(Column(titles.get(name, name)) for name, _ in found.means),
        ),
        rows=tuple((name, *(fixed(value, 1) for value in row.values())) for name, row in means.items()),
        detail=True,
    )
    return Section(
        "profile",
        "Profile: what are the samples like?",
        paragraphs=(_sentence(found, titles, called), *(() if any(shown) else (CHANCE,))),
        figures=tuple(drawn),
        tables=(table,),
        notes=tuple(as_sentence(note) for note in (EXPLORES, *found.notes)),
        gist=f"a map of {count(len(samples), 'sample')}, exploratory",
    )


EXPLORES = (
    "The map sums up the means; it tests nothing. Ellipses hold 95\u202f% of the maps that other draws of these "
    "tasters would give, each turned onto this one, which makes samples look surer of their places than the tests "
    "of the attributes do. Samples near each other are not thereby alike, since the map leaves dimensions out."
)
CHANCE = (
    "In none of these attributes was a difference shown: where the samples stand on the map may be chance."
)


def _sentence(found: Profile, titles: dict[str, str], called: Called) -> str:
    """How much the map shows, and what its first dimension is about."""
    shown = percent(min(1.0, sum(found.explained[:2])))
    strongest = max(found.correlations, key=lambda one: abs(one[1][0]))
    ends = sorted(found.samples, key=lambda point: point.coordinates[0] * (1 if strongest[1][0] >= 0 else -1))
    name = titles.get(strongest[0], strongest[0])
    return (
        f"The map shows {shown} of the variation between the samples' mean profiles. Its first dimension goes most "
        f"with “{name}”: highest {called(ends[-1].sample)}, lowest {called(ends[0].sample)}."
    )
