"""The profile map: its components, its ellipses, and what does not move it."""

import json
from itertools import combinations

import numpy as np
import pandas as pd
import pytest
from statsmodels.multivariate.pca import PCA

from stats import profile

TRUE = np.array([[0, 0, 0, 0], [1, 0.5, 0, 0], [2, 1, 1.5, 0], [3, 1.5, 0, 0.5], [3, 1.5, 0, 0.5]])
ATTRIBUTES = ["firm", "glossy", "salty", "sweet"]


def panel(tasters=20, noise=0.8, seed=0, keep=None):
    rng = np.random.default_rng(seed)
    rows = []
    for t in range(tasters):
        level = rng.normal(size=4)
        shown = range(5) if keep is None else sorted(rng.choice(5, size=keep, replace=False))
        for s in shown:
            for a, name in enumerate(ATTRIBUTES):
                rows.append((f"t{t:02d}", f"s{s}", name, 5 + level[a] + TRUE[s, a] + rng.normal() * noise))
    return pd.DataFrame(rows, columns=["taster", "sample", "attribute", "score"])


@pytest.mark.parametrize("scaled", [False, True], ids=["covariance", "correlation"])
def test_coordinates_and_shares_agree_with_statsmodels(scaled):
    frame = panel()
    means = frame.pivot_table(index="sample", columns="attribute", values="score").to_numpy()
    reference = PCA(means, standardize=scaled, demean=True, normalize=False)
    found = profile(frame, scaled=scaled, resamples=0)
    # statsmodels divides by n where we divide by n - 1, which only stretches the map.
    stretch = np.sqrt(4 / 5) if scaled else 1.0
    points = np.array([one.coordinates for one in found.samples])
    for k in range(2):
        assert np.abs(points[:, k]) == pytest.approx(np.abs(reference.factors[:, k]) * stretch, abs=1e-9)
    shares = reference.eigenvals / reference.eigenvals.sum()
    assert found.explained == pytest.approx(tuple(shares[: len(found.explained)]), abs=1e-10)


def test_incomplete_blocks_are_mapped_from_adjusted_means():
    # Without noise the adjusted means have the true differences, whoever scored what.
    found = profile(panel(noise=0.0, keep=3), resamples=0)
    for a, (_, means) in enumerate(found.means):
        assert np.array(means) - means[0] == pytest.approx(TRUE[:, a] - TRUE[0, a], abs=1e-8)


def test_distances_on_the_full_map_are_those_between_profiles():
    found = profile(panel(), resamples=0)
    points = np.array([one.coordinates for one in found.samples])
    means = np.array([row for _, row in found.means]).T
    for a, b in combinations(range(5), 2):
        assert np.linalg.norm(points[a] - points[b]) == pytest.approx(np.linalg.norm(means[a] - means[b]))


def test_samples_alike_are_not_kept_apart_and_different_ones_are():
    found = profile(panel(tasters=30, seed=2))
    apart = {(pair.sample_a, pair.sample_b): pair.apart for pair in found.pairs}
    assert not apart["s3", "s4"]
    assert apart["s0", "s3"]
    assert "not kept apart on it by resampled tasters: s3 and s4" in found.sentence()


def test_ellipses_shrink_with_the_root_of_the_number_of_tasters():
    small, large = (
        np.mean([np.prod(one.ellipse.half_axes) for one in profile(panel(n, seed=1)).samples])
        for n in (15, 135)
    )
    # Nine times the tasters: each axis a third, the area a ninth.
    assert small / large == pytest.approx(9, rel=0.45)


def test_resampled_maps_scatter_as_the_sampling_error_of_means():
    # A taster's own errors 0.8 over 60 tasters: coordinates scatter by about 0.8 / sqrt(60) (theory, rotation aside).
    found = profile(panel(tasters=60, seed=5), confidence=0.95)
    radius = np.sqrt(-2 * np.log(0.05))
    scatter = np.mean([np.sqrt(np.prod(one.ellipse.half_axes)) for one in found.samples]) / radius
    assert scatter == pytest.approx(0.8 / np.sqrt(60), rel=0.35)


def test_the_same_seed_gives_the_same_map_whatever_the_order_of_rows():
    frame = panel(seed=3)
    a, b = profile(frame, seed=4), profile(frame.sample(frac=1, random_state=0), seed=4)
    assert b.samples[0].ellipse.half_axes == pytest.approx(a.samples[0].ellipse.half_axes, rel=1e-8)
    assert b.samples[0].coordinates == pytest.approx(a.samples[0].coordinates, abs=1e-9)


def test_a_tasters_level_does_not_move_the_map():
    frame = panel(seed=6)
    lifted = frame.assign(score=frame["score"] + 10 * (frame["taster"] == "t03"))
    a, b = profile(frame, resamples=0), profile(lifted, resamples=0)
    assert b.samples[2].coordinates == pytest.approx(a.samples[2].coordinates, abs=1e-8)


def test_an_attribute_without_variation_is_left_out_and_named():
    frame = pd.concat([panel(), panel().query("attribute == 'firm'").assign(attribute="flat", score=4.0)])
    found = profile(frame, resamples=0)
    assert [name for name, _ in found.attributes] == ATTRIBUTES
    assert any("flat has one mean" in note for note in found.notes)
    json.dumps(found.to_dict(), allow_nan=False)


@pytest.mark.parametrize(
    ("change", "match"),
    [
        (lambda f: f.drop(columns="attribute"), "column 'attribute' is missing"),
        (lambda f: f.query("attribute == 'firm'"), "needs two attributes"),
        (lambda f: f[f["sample"].isin(["s0", "s1"])], "a map needs three samples"),
        (
            lambda f: f[(f["attribute"] != "firm") | (f["sample"] != "s2")],
            "'firm' has no score for sample 's2'",
        ),
    ],
    ids=["no attributes", "one attribute", "two samples", "gap"],
)
def test_too_little_for_a_map_is_refused_with_the_reason(change, match):
    with pytest.raises(ValueError, match=match):
        profile(change(panel()))
