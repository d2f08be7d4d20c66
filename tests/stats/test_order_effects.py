"""Position and carry-over: against least squares elsewhere, under the null, and in awkward orders."""

import json

import numpy as np
import pandas as pd
import patsy
import pytest
import statsmodels.api as sm

from stats import order_effects

WILLIAMS = [[0, 1, 3, 2], [1, 2, 0, 3], [2, 3, 1, 0], [3, 0, 2, 1]]


def served(tasters=16, first=0.0, after=(0, 0, 0, 0), noise=0.5, seed=1, orders=None):
    rng = np.random.default_rng(seed)
    rows = []
    for t in range(tasters):
        level, previous = rng.normal(), None
        for place, s in enumerate((orders or WILLIAMS)[t % len(orders or WILLIAMS)]):
            carried = 0 if previous is None else after[previous]
            score = 5 + level + 0.5 * s + (first if place == 0 else 0) + carried + rng.normal() * noise
            before = "none" if previous is None else f"s{previous}"
            rows.append((f"t{t}", f"s{s}", place + 1, score, before))
            previous = s
    return pd.DataFrame(rows, columns=["taster", "sample", "position", "score", "before"])


def gappy():
    frame = served(first=1.0, after=(0, 0, 0, 0.8), seed=3)
    frame.loc[[2, 9, 30, 41], "score"] = np.nan
    return frame


def regression(frame, terms):
    """statsmodels on the scored rows, carry-over coded to sum to zero and absent in the first place."""
    data = frame.dropna(subset=["score"]).copy()
    for name in ("s0", "s1", "s2"):
        data[f"c_{name}"] = (data["before"] == name) * 1.0 - (data["before"] == "s3") * 1.0
    design = patsy.dmatrix(" + ".join(terms), data)
    return data, design.design_info, sm.OLS(data["score"].to_numpy(), np.asarray(design)).fit()


PLAIN = ["C(taster)", "C(sample)"]
CARRY = ["c_s0", "c_s1", "c_s2"]


@pytest.mark.parametrize("frame", [served(first=1.0), gappy()], ids=["complete", "missing scores"])
def test_both_tests_agree_with_statsmodels(frame):
    found = order_effects(frame)
    full = regression(frame, [*PLAIN, "C(position)", *CARRY])[2]
    for test, less in ((found.position, [*PLAIN, *CARRY]), (found.carry_over, [*PLAIN, "C(position)"])):
        f, p, df = full.compare_f_test(regression(frame, less)[2])
        assert (test.f, test.p_value) == pytest.approx((f, p), rel=1e-8)
        assert (test.df_num, test.df_den) == (df, full.df_resid)


@pytest.mark.parametrize("frame", [served(first=1.0), gappy()], ids=["complete", "missing scores"])
def test_adjusted_means_agree_with_statsmodels(frame):
    found = order_effects(frame)
    data, info, fit = regression(frame, [*PLAIN, "C(position)", *CARRY])
    for mean in found.means:
        grid = pd.DataFrame(
            [
                {"taster": t, "sample": mean.sample, "position": p, "c_s0": 0.0, "c_s1": 0.0, "c_s2": 0.0}
                for t in data["taster"].unique()
                for p in (1, 2, 3, 4)
            ]
        )
        x = np.asarray(patsy.build_design_matrices([info], grid)[0]).mean(axis=0)
        assert mean.adjusted.estimate == pytest.approx(x @ fit.params, rel=1e-9)
        assert mean.standard_error == pytest.approx(np.sqrt(x @ fit.cov_params() @ x), rel=1e-8)
        assert mean.raw == pytest.approx(data.loc[data["sample"] == mean.sample, "score"].mean())


def test_a_first_cup_that_scores_higher_is_found_and_put_in_words():
    found = order_effects(served(first=1.5))
    assert found.position.p_value < 1e-6
    # Effects sum to zero: a lift of 1.5 in the first of four places is 1.125 above the average.
    assert found.positions[0].effect.estimate == pytest.approx(1.125, abs=0.25)
    assert "most at position 1" in found.sentence()


def test_carry_over_from_one_sample_is_found_and_its_victims_are_put_right():
    found = order_effects(served(tasters=40, after=(0, 0, 0, 2.0), seed=5))
    assert found.carry_over.p_value < 1e-6
    assert max(found.previous, key=lambda one: one.effect.estimate).level == "s3"
    assert "after s3" in found.sentence()
    gaps = [
        b.adjusted.estimate - a.adjusted.estimate for a, b in zip(found.means, found.means[1:], strict=False)
    ]
    assert gaps == pytest.approx([0.5, 0.5, 0.5], abs=0.35)


def test_a_cup_without_a_score_still_comes_before_the_next():
    frame = served()
    frame.loc[1, "score"] = np.nan
    dropped = order_effects(frame.drop(index=1))
    kept = order_effects(frame)
    assert kept.n == dropped.n
    assert not any("no recorded cup" in note for note in kept.notes)
    assert any(
        "1 cup after the first position has no recorded cup before it" in note for note in dropped.notes
    )


def test_one_order_for_everybody_cannot_tell_position_from_sample():
    found = order_effects(served(orders=[[0, 1, 2, 3]]))
    assert found.position.f is None
    assert "does not vary apart from the samples" in found.position.reason
    assert all(one.effect.estimate is None for one in found.positions)
    assert "cannot be tested" in found.sentence()
    json.dumps(found.to_dict(), allow_nan=False)


def test_sittings_start_a_sequence_of_their_own():
    frame = pd.concat(
        [served(seed=1).assign(sitting="a", replicate=1), served(seed=2).assign(sitting="b", replicate=2)]
    )
    found = order_effects(frame)
    assert found.sequences == 32
    assert "taster in one sitting" in found.notes[0]


def test_positions_that_start_again_in_each_condition_make_sequences_per_condition():
    frame = pd.concat(
        [served(seed=1).assign(condition="plain"), served(seed=2).assign(condition="with dashi")]
    )
    found = order_effects(frame)
    assert found.sequences == 32
    assert "taster by condition" in found.notes[0]


def test_a_position_given_twice_is_refused_with_the_taster_named():
    frame = served()
    frame.loc[1, "position"] = 1
    with pytest.raises(ValueError, match=r"taster 't0' has position 1 more than once"):
        order_effects(frame)


@pytest.mark.parametrize(
    ("value", "match"), [(np.nan, r"row 6 holds nan"), (1.5, r"row 6 holds 1.5")], ids=["missing", "fraction"]
)
def test_positions_must_be_whole_numbers_for_every_cup(value, match):
    frame = served().astype({"position": float})
    frame.loc[5, "position"] = value
    with pytest.raises(ValueError, match=match):
        order_effects(frame)


def test_a_frame_without_positions_is_refused():
    with pytest.raises(ValueError, match="column 'position' is missing"):
        order_effects(served().drop(columns="position"))


def test_under_the_null_the_p_values_are_uniform():
    # Normal errors, nothing but samples and tasters at work: P(p <= a) = a for both tests.
    p = np.array(
        [(r.position.p_value, r.carry_over.p_value) for r in map(order_effects, map(null, range(300)))]
    )
    for column in p.T:
        for level in (0.05, 0.25, 0.5):
            error = 3.5 * np.sqrt(level * (1 - level) / 300)
            assert abs((column <= level).mean() - level) < error


def null(seed):
    return served(tasters=8, seed=seed)


def test_shift_scale_names_and_row_order_do_not_change_the_tests():
    frame = served(first=0.4, seed=6)
    other = frame.assign(score=frame["score"] * 3 - 7).sample(frac=1, random_state=1)
    other["sample"] = other["sample"].map({"s0": "d", "s1": "a", "s2": "c", "s3": "b"})
    a, b = order_effects(frame), order_effects(other)
    assert (b.position.f, b.carry_over.f) == pytest.approx((a.position.f, a.carry_over.f), rel=1e-8)
    assert b.positions[0].effect.estimate == pytest.approx(3 * a.positions[0].effect.estimate, rel=1e-8)


def test_no_effect_is_never_called_none():
    text = order_effects(served(seed=12, noise=1.0)).sentence()
    assert "not ruled out" in text
    assert "no effect of the sample" in text
