"""From a study's plain rows to its report: the analysis that the plan sealed."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from panel.study.questions import scored_names
from panel.study.test_methods import method_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import pandas as pd

    from panel.analysis.choice_report import ChoiceReport
    from panel.analysis.forced_choice import ForcedChoiceReport
    from panel.analysis.score_report import ScoreReport
    from panel.analysis.sequential_report import SequentialReport
    from panel.study.answer_rows import Choice, Score
    from panel.study.plan import Plan


def analyse_study(
    plan: Plan,
    scores: Sequence[Score],
    choices: Sequence[Choice],
    *,
    roles: Mapping[str, str] | None = None,
) -> ScoreReport | ForcedChoiceReport | SequentialReport | ChoiceReport:
    """The sealed analysis of the rows that count; whoever calls leaves out the others.

    roles : blind label -> the part it plays (reference, duplicate), known only once the report is signed
    ValueError where there is too little to analyse.
    """
    from panel.analysis.analysis import analyse_scores
    from panel.analysis.choice_report import analyse_choices
    from panel.analysis.forced_choice import ForcedAnswer, analyse_forced_choice

    kind = method_of(plan.method).analysis
    if kind == "scores":
        frame = score_frame(plan, scores)
        return analyse_scores(frame, plan=plan, correction=plan.correction, roles=roles)
    if kind != "forced choice":
        return analyse_choices(plan, kind, choices)
    if plan.sequential:
        from panel.analysis.sequential_report import analyse_sequential

        return analyse_sequential(plan, choices)
    answers = [ForcedAnswer(choice.taster, bool(choice.correct)) for choice in choices]
    limit = plan.similarity_limit
    return analyse_forced_choice(
        plan.method, answers, alpha=plan.alpha, pd_limit=limit, beta=plan.beta, planned=True
    )


def too_little(error: ValueError) -> str:
    """Why `analyse_study` gave nothing, for a reader: the calculator names its argument first, which says nothing."""
    return re.sub(r"^\w+: ", "", str(error))


def score_frame(plan: Plan, scores: Sequence[Score]) -> pd.DataFrame:
    """The answers on scales as a long frame; attributes go by their name in the data.

    An open answer and "cannot tell" are nan.
    """
    import pandas as pd

    names = scored_names(plan)
    rows = [
        (
            s.taster,
            s.sample,
            float("nan") if isinstance(s.value, str) or s.value is None else s.value,
            s.question,
            s.condition,
            str(s.replicate),
            s.position,
        )
        for s in scores
        if s.question in names and s.sample
    ]
    columns = ["taster", "sample", "score", "attribute", "condition", "replicate", "position"]
    return pd.DataFrame(rows, columns=columns).astype({"score": float, "position": float})
