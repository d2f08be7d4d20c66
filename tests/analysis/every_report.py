"""A report of every kind, with an effect and without, of many and of few: made up, for what is said and drawn."""

import functools

import numpy as np
import pandas as pd

from panel.analysis.analysis import analyse_scores
from panel.analysis.choice_report import analyse_choices
from panel.analysis.command import run_as
from panel.analysis.forced_choice import ForcedAnswer, analyse_forced_choice
from panel.analysis.kind_report import Asked
from panel.analysis.view import report_view
from panel.study.answer_rows import Choice
from panel.study.plan import Layout, Plan
from tests.analysis import kind_tables
from tests.analysis.rice_scores import scores, yes_no


def plan(method, samples=2, **said):
    return Plan("Rice", "Rice", "Which?", method, samples, 24, **said)


def choices(rows):
    """(samples, chosen, right) for each taster in turn."""
    return [
        Choice(f"a{n}", f"t{n}", 1, "plain", tuple(on), said, right, n, False)
        for n, (on, said, right) in enumerate(rows)
    ]


def forced(method, right, of, **said):
    answers = [ForcedAnswer(f"t{i}", i < right) for i in range(of)]
    return analyse_forced_choice(method, answers, planned=True, **said)


def preferred(first, second, none=0):
    rows = [("AB", "1", None)] * first + [("AB", "2", None)] * second + [("AB", "none", None)] * none
    return analyse_choices(plan("paired preference", no_preference=none > 0), "preference", choices(rows))


def told_apart(method, kind, yes, yes_of, other, other_of):
    """`yes` of `yes_of` answered so where it is true, `other` of `other_of` where it is not."""
    said, no = ("different", "same") if kind == "same-different" else ("yes", "no")
    rows = [("AB", said if i < yes else no, i < yes) for i in range(yes_of)]
    rows += [("AA", said if i < other else no, i >= other) for i in range(other_of)]
    return analyse_choices(plan(method), kind, choices(rows))


def ranked(pull, tasters=12, each=None):
    rng = np.random.default_rng(4)
    rows = []
    for _ in range(tasters):
        mine = list(rng.permutation(list(pull)))[: each or len(pull)]
        order = sorted(mine, key=lambda name: pull[name] + rng.normal())
        rows.append((mine, " ".join(str(order.index(name) + 1) for name in mine), None))
    per_taster = Layout(per_taster=each)
    return analyse_choices(plan("ranking", len(pull), layout=per_taster), "ranking", choices(rows))


def drivers():
    rng = np.random.default_rng(9)
    rows = []
    for taster in range(40):
        for name, salt in (("A", -1.0), ("B", 0.6), ("C", 0.0)):
            salty = float(np.clip(round(3 + salt + rng.normal(0, 0.8)), 1, 5))
            liking = float(np.clip(round(7 - 1.2 * abs(salty - 3) + rng.normal()), 1, 9))
            ticks = {
                term: float(rng.random() < chance) for term, chance in (("savoury", 0.3), ("stale", 0.2))
            }
            told = {"liking": liking, "saltiness": salty, **ticks}
            rows += [(f"t{taster}", name, what, value) for what, value in told.items()]
    frame = pd.DataFrame(rows, columns=["taster", "sample", "attribute", "score"])
    kinds = {"saltiness": "jar-5", "savoury": "check-all", "stale": "check-all"}
    return analyse_scores(frame, kinds=kinds)


def forty():
    rng = np.random.default_rng(3)
    rows = [
        (
            f"t{t}",
            f"S{s:02}",
            float(np.clip(round(5 + 0.05 * s + rng.normal(0, 1.2)), 1, 9)),
            (t * 7 + s) % 40 + 1,
        )
        for t in range(8)
        for s in range(40)
    ]
    return analyse_scores(pd.DataFrame(rows, columns=["taster", "sample", "score", "position"]))


REPORTS = {
    "rating, found": lambda: analyse_scores(scores(samples=4, effect=0.8)),
    "rating, null": lambda: analyse_scores(scores(samples=3)),
    "rating, several": lambda: analyse_scores(
        scores(samples=4, attributes=("liking", "salty", "soft", "sweet"), effect=0.8)
    ),
    "rating, several, null": lambda: analyse_scores(scores(attributes=("salty", "soft", "sweet"), seed=2)),
    "rating, one against others": lambda: analyse_scores(scores(samples=4, effect=0.3), reference="A"),
    "rating, conditions": lambda: analyse_scores(scores(replicates=2, conditions=2, effect=0.4)),
    "rating, two tasters": lambda: analyse_scores(scores(tasters=2)),
    "rating, one taster": lambda: analyse_scores(scores(tasters=1, attributes=("liking", "salty"))),
    "rating, yes or no": lambda: analyse_scores(yes_no()),
    "rating, equal": lambda: analyse_scores(scores().assign(score=5.0)),
    "rating, drivers": drivers,
    "rating, forty": forty,
    "triangle, null": lambda: forced("triangle", 12, 24),
    "triangle, found": lambda: forced("triangle", 18, 24),
    "triangle, similar": lambda: forced("triangle", 20, 60, pd_limit=0.3),
    "triangle, not similar": lambda: forced("triangle", 13, 30, pd_limit=0.3),
    "triangle, one": lambda: forced("triangle", 1, 1),
    "duo-trio": lambda: forced("duo-trio", 14, 24),
    "2-AFC": lambda: forced("2-AFC", 17, 24),
    "two-out-of-five": lambda: forced("two-out-of-five", 2, 2),
    "triangle, repeated": lambda: analyse_forced_choice(
        "triangle", [ForcedAnswer(f"t{t}", t < 5 or r % 3 == 0) for t in range(10) for r in range(6)], planned=True
    ),
    "same-different, null": lambda: told_apart("same-different", "same-different", 12, 20, 9, 20),
    "same-different, found": lambda: told_apart("same-different", "same-different", 17, 20, 3, 20),
    "A-not-A, null": lambda: told_apart("A-not-A", "A-not-A", 11, 20, 9, 20),
    "preference, null": lambda: preferred(11, 9, 4),
    "preference, found": lambda: preferred(21, 5),
    "preference, none": lambda: preferred(0, 0, 5),
    "preference, one": lambda: preferred(1, 0),
    "ranking, found": lambda: ranked({"A": 0, "B": -1.2, "C": 1.0, "D": 0.1}),
    "ranking, null": lambda: ranked({"A": 0, "B": 0, "C": 0}),
    "ranking, blocks": lambda: ranked({"A": 0, "B": -1.2, "C": 1.0, "D": 0.1}, each=3),
}  # fmt: skip


@functools.cache
def report(name):
    return REPORTS[name]()


@functools.cache
def view(name):
    """What is shown of it, by label and without figures."""
    return report_view(report(name), figures=False)


@functools.cache
def table_view(kind):
    """What `analyse --as` shows of a table of that kind."""
    table, said = kind_tables.TABLES[kind]
    return run_as(kind, table().encode(), "rice.csv", Asked(columns={}, **said)).view(figures=False)
