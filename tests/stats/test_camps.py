"""Camps of liking: found where they are, not claimed where they are not."""

import json
from itertools import permutations

import numpy as np
import pandas as pd
import pytest

from stats import camps
from stats.camps_clusters import adjusted_rand, clusters

LIKED = np.array([2.0, 0.7, -0.7, -2.0])


def liking(tasters=48, opposed=0.5, noise=1.0, seed=0):
    """A share of the tasters likes the samples in the opposite order."""
    rng = np.random.default_rng(seed)
    turned = np.arange(tasters) < opposed * tasters
    rows = [
        (
            f"t{t:04d}",
            f"s{s}",
            5 + (-1 if turned[t] else 1) * LIKED[s] + rng.normal() * noise + t % 3,
        )
        for t in range(tasters)
        for s in range(4)
    ]
    return pd.DataFrame(rows, columns=["taster", "sample", "score"])


def test_two_opposed_camps_are_found_and_the_average_is_said_to_hide_them():
    found = camps(liking())
    assert {camp.favourite for camp in found.camps} == {"s0", "s3"}
    assert found.stability > 0.9
    assert found.warning.startswith("The average hides 2 camps of tasters")
    first = {int(name[1:]) < 24 for name in found.camps[0].tasters}
    assert len(first) == 1


@pytest.mark.parametrize("seed", range(5))
def test_one_opinion_with_noise_gives_no_warning(seed):
    found = camps(liking(opposed=0.0, seed=seed), resamples=60)
    assert not found.warning
    assert "there may still be some" in found.sentence()


def test_the_warning_comes_in_less_than_a_twentieth_of_panels_of_one_opinion():
    warned = sum(
        bool(camps(liking(tasters=30, opposed=0.0, seed=100 + s), resamples=40).warning) for s in range(60)
    )
    assert warned <= 3


def test_a_spread_of_opinions_without_a_gap_is_not_called_two_camps():
    # Preference strength runs evenly from one order to its opposite: a continuum, one Gaussian-like cloud.
    rng = np.random.default_rng(3)
    rows = [
        (f"t{t:04d}", f"s{s}", 5 + strength * LIKED[s] + rng.normal())
        for t, strength in enumerate(rng.normal(size=60))
        for s in range(4)
    ]
    assert not camps(pd.DataFrame(rows, columns=["taster", "sample", "score"])).warning


def test_a_small_panel_is_never_warned_about_however_clear_it_looks():
    found = camps(liking(tasters=12, noise=0.2))
    assert not found.warning
    assert "12 tasters are too few" in found.sentence()


def test_levels_do_not_make_camps():
    frame = liking(opposed=0.0, seed=2)
    lifted = frame.assign(score=frame["score"] + 4 * (frame["taster"] < "t0024"))
    a, b = camps(frame, resamples=30), camps(lifted, resamples=30)
    assert [camp.tasters for camp in a.camps] == [camp.tasters for camp in b.camps]


def test_names_scale_and_row_order_do_not_change_the_clusters():
    frame = liking(seed=4)
    other = frame.assign(score=frame["score"] * 7 + 2).sample(frac=1, random_state=0)
    other["sample"] = other["sample"].map({"s0": "q", "s1": "w", "s2": "a", "s3": "z"})
    a, b = camps(frame, resamples=30), camps(other, resamples=30)
    assert [camp.tasters for camp in a.camps] == [camp.tasters for camp in b.camps]
    assert b.cluster_index == pytest.approx(a.cluster_index)


def test_tasters_with_a_gap_are_left_out_and_counted():
    found = camps(liking().drop(index=[0, 9]), resamples=30)
    assert found.n == 46
    assert any("2 tasters without a score for every sample" in note for note in found.notes)
    json.dumps(found.to_dict(), allow_nan=False)


def test_large_panels_are_clustered_without_the_tree_of_all_pairs():
    table = liking(tasters=1600).pivot_table(index="taster", columns="sample", values="score").to_numpy()
    label = clusters(table - table.mean(axis=1, keepdims=True), 2)
    assert adjusted_rand(label, (np.arange(1600) < 800).astype(int)) > 0.99


def test_three_camps_of_a_large_panel_are_clustered_too():
    rng = np.random.default_rng(0)
    truth = np.arange(300) % 3
    X = np.array([[4.0, -2, -2], [-2, 4, -2], [-2, -2, 4]])[truth] + rng.normal(size=(300, 3))
    assert adjusted_rand(clusters(X, 3), truth) > 0.97


@pytest.mark.parametrize(
    ("a", "b", "value", "source"),
    [
        pytest.param([0, 0, 1, 1], [1, 1, 0, 0], 1.0, "definition: names do not matter", id="renamed"),
        pytest.param([0, 0, 1, 2], [0, 0, 1, 1], 4 / 7, "Hubert & Arabie 1985 formula by hand", id="split"),
        pytest.param([0, 0, 0, 0], [0, 1, 2, 3], 0.0, "definition: one against all single", id="single"),
        pytest.param([0, 0, 1, 1], [0, 1, 0, 1], -0.5, "Hubert & Arabie 1985 formula by hand", id="crossed"),
    ],
)
def test_the_adjusted_rand_index_has_its_known_values(a, b, value, source):
    assert adjusted_rand(np.array(a), np.array(b)) == pytest.approx(value), source


def test_the_adjusted_rand_index_is_zero_on_average_over_all_permutations():
    # The correction for chance is exact over permutations with fixed sizes (Hubert & Arabie 1985).
    a, b = np.array([0, 0, 0, 1, 1, 2]), np.array([0, 0, 1, 1, 2, 2])
    values = [adjusted_rand(a, b[list(order)]) for order in permutations(range(6))]
    assert np.mean(values) == pytest.approx(0, abs=1e-12)


@pytest.mark.parametrize(
    ("call", "match"),
    [
        (lambda: camps(liking(), number=1), "number: 1 clusters"),
        (lambda: camps(liking(tasters=5), number=3), "5 tasters scored every sample"),
        (lambda: camps(liking(), resamples=3), "resamples must be at least 20"),
        (lambda: camps(liking().assign(score=4.0)), "nothing to cluster"),
    ],
    ids=["one", "too many", "resamples", "flat"],
)
def test_bad_input_is_refused_with_the_reason(call, match):
    with pytest.raises(ValueError, match=match):
        call()
