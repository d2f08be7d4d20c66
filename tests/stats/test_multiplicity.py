"""Adjusted p-values against statsmodels, and by hand."""

import numpy as np
import pytest
from statsmodels.stats.multitest import multipletests

from stats import anova_by_attribute, benjamini_hochberg, expected_false_findings, holm

CASES = [
    pytest.param([0.01], id="one"),
    pytest.param([0.01, 0.04, 0.03, 0.005], id="four"),
    pytest.param([0.2, 0.2, 0.2], id="ties"),
    pytest.param([0.0, 1.0, 0.5], id="ends"),
    pytest.param(np.random.default_rng(1).random(50).tolist(), id="fifty"),
]


@pytest.mark.parametrize("p", CASES)
@pytest.mark.parametrize(("ours", "theirs"), [(holm, "holm"), (benjamini_hochberg, "fdr_bh")])
def test_adjusted_p_values_agree_with_statsmodels(p, ours, theirs):
    assert ours(p) == pytest.approx(multipletests(p, method=theirs)[1], rel=1e-12)


def test_no_p_values_give_no_p_values():
    assert holm([]) == benjamini_hochberg([]) == ()


@pytest.mark.parametrize("bad", [-0.1, 1.1, float("nan")])
def test_a_p_value_outside_zero_to_one_is_refused_by_its_place(bad):
    with pytest.raises(ValueError, match="entry 2"):
        holm([0.5, bad])


def test_fifteen_samples_make_five_and_a_quarter_false_findings():
    found = expected_false_findings(105, alpha=0.05)
    assert found.expected == pytest.approx(5.25), "definition: tests x alpha"
    assert found.any_chance == pytest.approx(1 - 0.95**105), "definition for independent tests"
    assert "5.25" in found.sentence()


def attributes(spread):
    rng = np.random.default_rng(2)
    rows = [
        (f"t{t}", f"s{s}", name, s * effect + rng.normal())
        for name, effect in spread.items()
        for t in range(12)
        for s in range(3)
    ]
    return dict(zip(("taster", "sample", "attribute", "score"), zip(*rows, strict=True), strict=True))


def test_the_primary_attribute_comes_first_and_is_not_adjusted():
    result = anova_by_attribute(attributes({"firm": 0.0, "salty": 1.0, "umami": 0.3}), primary="salty")
    first = result.attributes[0]
    assert (first.attribute, first.primary, first.p_adjusted) == ("salty", True, first.p_value)
    rest = result.attributes[1:]
    assert [row.p_adjusted for row in rest] == list(holm([row.p_value for row in rest]))
    assert result.sentence().startswith("Primary, salty: samples differ (p")


def test_an_attribute_without_variation_keeps_a_row_that_says_so():
    data = attributes({"firm": 0.5, "salty": 1.0})
    data["score"] = [5.0 if a == "firm" else v for a, v in zip(data["attribute"], data["score"], strict=True)]
    firm, salty = anova_by_attribute(data).attributes
    assert (firm.p_value, firm.significant) == (None, False)
    assert "score" in firm.problem
    assert salty.p_adjusted == salty.p_value


def test_uncorrected_attributes_say_how_many_false_findings_to_expect():
    result = anova_by_attribute(attributes({"firm": 0.0, "salty": 0.0}), correction="none")
    assert any("on average" in note for note in result.notes)


def test_an_unknown_primary_attribute_is_refused():
    with pytest.raises(ValueError, match="primary: 'sour'"):
        anova_by_attribute(attributes({"firm": 0.0, "salty": 0.0}), primary="sour")
