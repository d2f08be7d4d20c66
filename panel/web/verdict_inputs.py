"""Where taste and bench meet, at the reveal and not before: the key's names join blind labels to the register."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING

from panel.bench.derived import bench_figures
from panel.bench.verdict import reweighed
from panel.store import studies
from panel.store.bench import all_revisions
from panel.store.instruments import instrument_names
from panel.store.register import products_of
from panel.store.rows import exclusions_of, scores_of
from panel.study.draft_reader import name_key
from panel.study.life import State
from panel.study.plan import plan_from_dict, plan_to_dict
from panel.study.questions import scored_names
from panel.study.seal import canonical_json
from panel.web.bench_rows import run_of
from panel.web.study import revealed_key

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    import pandas as pd

    from panel.bench.draws import Drawn
    from panel.bench.figures import Figure, Run
    from panel.bench.verdict import Verdict
    from panel.store.bench_tables import Measurement
    from panel.store.tables import Study
    from panel.study.plan import Plan
    from panel.web.house import House

DRAWS = 4000
SEED = 20261126  # public: whoever has the data gets the same chances
KEPT = 8
Pairs = tuple[tuple[str, str], ...]
Tasted = tuple[tuple[str, str, str, str, float], ...]


@dataclass(frozen=True, slots=True)
class VerdictInputs:
    """Everything that the verdict rests on, by product.

    names : `name_key` of each product -> its name, sorted
    tasted : (taster, product, question, condition, score) of the answers that count
    runs : of the sealed measurands, as they stood at the reveal; later : entries and changes after it, which do not
        count
    strangers : names of the key that the register does not know
    """

    plan: Plan
    sealed: str
    names: Pairs
    tasted: Tasted
    runs: tuple[Run, ...]
    later: int
    strangers: tuple[str, ...]

    @property
    def figures(self) -> tuple[Figure, ...]:
        """What the runs give, of each measurand and product."""
        return self.drawn().figures

    def taste(self) -> pd.DataFrame | None:
        """The answers that count as a long frame; None without any."""
        return _frame(self.tasted) if self.tasted else None

    def drawn(self) -> Drawn:
        """Joint draws of all values, kept so that weights can be moved without drawing again."""
        return _drawn(self.sealed, self.names, self.tasted, self.runs)

    def verdict(
        self, groups: Mapping[str, float] | None = None, criteria: Mapping[str, float] | None = None
    ) -> Verdict:
        """The verdict with the sealed weights, but for those given: group name, criterion key -> weight.

        ValueError, in words, where they make no total.
        """
        return reweighed(self.drawn(), groups or {}, criteria or {}, alpha=self.plan.alpha)


def has_verdict(study: Study) -> bool:
    """Whether the study is revealed and was sealed with criteria."""
    return study.state == State.REVEALED and bool(studies.plan_of(study).bench.criteria)


def inputs_of(house: House, study: Study) -> VerdictInputs:
    """Join taste and bench of a revealed study. Late answers and excluded tasters stay outside, as in the report.

    A run that was changed after the reveal counts as it stood before.
    """
    plan = studies.plan_of(study)
    with house.database.read() as session:
        scores, excluded = scores_of(session, study), exclusions_of(session, study.id)
        products = products_of(session, study.id)
        rows, instruments = all_revisions(session, study.id), instrument_names(session)
    key_of = {product.id: product.name_key for product in products}
    counted = [
        Counted(score.taster, score.sample, score.question, score.condition, score.value)
        for score in scores
        if not score.late and score.attempt_id not in excluded
    ]
    measured = {one.key for one in plan.bench.measurands}
    sealed_rows = [row for row in rows if row.measurand in measured]
    before = {row.entry: row for row in sorted(sealed_rows, key=_revision) if not row.after_reveal}
    return joined(
        plan,
        {label: product.name for label, product in revealed_key(house, study)},
        [product.name for product in products],
        counted,
        [replace(run_of(row, instruments), product=key_of[row.product_id]) for row in before.values()],
        later=sum(row.after_reveal for row in sealed_rows),
    )


def _revision(row: Measurement) -> int:
    return row.revision


@dataclass(frozen=True, slots=True)
class Counted:
    """One answer that counts, by blind label."""

    taster: str
    sample: str
    question: str
    condition: str
    value: float | str | None


def joined(
    plan: Plan,
    key: Mapping[str, str],
    known: Iterable[str],
    answers: Iterable[Counted],
    runs: Iterable[Run],
    *,
    later: int = 0,
) -> VerdictInputs:
    """Taste by blind label and runs by name, joined by name. Draws depend on names, so that any house finds the same.

    key : blind label -> name; known : names in the register; runs : with `name_key` of their product
    """
    names = {name_key(name): name for name in known}
    labels = {label: name_key(name) for label, name in key.items() if name_key(name) in names}
    asked = set(scored_names(plan))
    return VerdictInputs(
        plan=plan,
        sealed=canonical_json(plan_to_dict(plan)).decode(),
        names=tuple(sorted(names.items())),
        tasted=tuple(
            (one.taster, labels[one.sample], one.question, one.condition, float(one.value))
            for one in answers
            if one.sample in labels and one.question in asked and isinstance(one.value, (int, float))
        ),
        runs=tuple(sorted(runs, key=lambda run: (run.measurand, run.product, run.run, run.id))),
        later=later,
        strangers=tuple(sorted({name for label, name in key.items() if label not in labels})),
    )


@lru_cache(maxsize=KEPT)
def _drawn(sealed: str, names: Pairs, tasted: Tasted, runs: tuple[Run, ...]) -> Drawn:
    from panel.bench.draws import drawn

    bench = plan_from_dict(json.loads(sealed)).bench
    taste = _frame(tasted) if tasted else None
    return drawn(bench, bench_figures(bench, runs), taste, names=dict(names), draws=DRAWS, seed=SEED)


def _frame(tasted: Tasted) -> pd.DataFrame:
    import pandas as pd

    return pd.DataFrame(tasted, columns=["taster", "sample", "question", "condition", "score"])
