"""What a test could have missed: the curve against SciPy's distributions, and what is said of it."""

import numpy as np
import pytest
from scipy import stats as scipy_stats
from statsmodels.stats.power import TTestPower
from statsmodels.stats.proportion import proportion_confint

from panel.analysis.analysis import analyse_scores
from panel.analysis.choice_report import analyse_choices
from panel.analysis.forced_choice import ForcedAnswer, analyse_forced_choice
from panel.analysis.view import report_view
from panel.study.answer_rows import Choice
from panel.study.plan import Plan
from tests.analysis.rice_scores import scores


def plan(method, samples=2, **said):
    return Plan("Rice", "Rice", "Which?", method, samples, 24, **said)


def choices(rows):
    """(samples, chosen) for each taster in turn."""
    return [
        Choice(f"a{n}", f"t{n}", 1, "plain", tuple(on), said, None, n, False)
        for n, (on, said) in enumerate(rows)
    ]


def triangle(right=12, of=24):
    return analyse_forced_choice(
        "triangle", [ForcedAnswer(f"t{i}", i < right) for i in range(of)], planned=True
    )


def part(report, name="missed"):
    return next(section for section in report_view(report).sections if section.id == name)


def curve(section):
    """Size and chance of each row of the numbers behind the curve; shares as they are printed, in per cent."""

    def number(cell):
        return float(cell.replace("\u202f%", "").replace("<", "").replace(">", ""))

    return [tuple(map(number, row)) for row in section.figures[0].data.rows]


def test_a_null_triangle_says_what_it_could_have_missed():
    view = report_view(triangle())
    assert "up to 52\u202f% of tasters might tell them apart (one-sided 95\u202f% limit)" in view.headline
    assert view.sure[0].startswith(
        "If everybody only guessed, 12 or more right of 24 would come up in about 7 in 100"
    )
    assert scipy_stats.binom.sf(11, 24, 1 / 3) == pytest.approx(0.068, abs=5e-4)


def test_the_curve_of_a_triangle_is_the_binomial_of_scipy():
    """13 of 24 are needed (ISO 4120, table A.1)."""
    for pd, chance in curve(part(triangle()))[1:]:
        step = round(pd * 48 / 100) / 48  # sizes lie on a grid of 48 steps and are printed as whole per cents
        exact = 100 * scipy_stats.binom.sf(12, 24, 1 / 3 + step * 2 / 3)
        assert chance == pytest.approx(exact, abs=1.0)


def test_the_curve_of_two_samples_is_the_paired_t_test_of_statsmodels():
    report = analyse_scores(scores(samples=2, effect=0.3))
    frame = scores(samples=2, effect=0.3).pivot(index="taster", columns="sample", values="score")
    spread = float((frame["A"] - frame["B"]).std(ddof=1))
    for size, chance in curve(part(report))[1:]:
        if chance < 99:
            exact = TTestPower().power(size / spread, len(frame), 0.05)
            assert chance == pytest.approx(100 * exact, abs=5)  # sizes are printed with two digits


def test_a_null_preference_gives_the_interval_and_the_curve():
    votes = choices([("AB", "1")] * 11 + [("AB", "2")] * 9)
    report = analyse_choices(plan("paired preference", no_preference=True), "preference", votes)
    view = report_view(report)
    low, high = proportion_confint(11, 20, method="beta")
    assert f"{100 * low:.0f}\u202f% to {100 * high:.0f}\u202f%" in view.headline
    assert "no evidence of equal liking" in view.headline
    assert curve(part(report))[0][1] < 5


def test_a_preference_that_nobody_has_is_no_test():
    report = analyse_choices(
        plan("paired preference", no_preference=True), "preference", choices([("AB", "none")] * 5)
    )
    view = report_view(report)
    assert view.headline == "None of 5 tasters preferred either of the two, so no preference can be tested."
    assert view.lead is None


def test_pairs_of_a_ranking_have_exact_limits_for_all_pairs_together():
    rows = [("ABC", "1 2 3")] * 5 + [("ABC", "2 1 3")] * 3
    report = analyse_choices(plan("ranking", samples=3), "ranking", choices(rows))
    pairs = {(one.a, one.b): one for one in report.orders}
    assert (pairs["A", "B"].before, pairs["A", "B"].of) == (5, 8)
    low, high = proportion_confint(5, 8, alpha=0.05 / 3, method="beta")
    assert (pairs["A", "B"].low, pairs["A", "B"].high) == pytest.approx((low, high))


def test_a_null_ranking_says_how_one_sided_tasters_might_be():
    rows = [("ABC", "1 2 3"), ("ABC", "2 3 1"), ("ABC", "3 1 2")] * 3
    view = report_view(analyse_choices(plan("ranking", samples=3), "ranking", choices(rows)))
    assert "does not show that they are the same" in view.headline
    assert "tasters might rank one before the other (95\u202f% limits, all pairs together)" in view.headline


def test_so_few_answers_that_nothing_can_be_shown_are_called_so():
    found = part(triangle(1, 1))
    assert found.gist == "no size of difference is reliably shown"
    assert np.isclose(curve(found)[-1][1], 0)
