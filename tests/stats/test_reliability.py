"""Agreement where there is nothing to divide by."""

import pandas as pd

import stats


def test_equal_sample_means_and_equal_taster_means_give_no_limits_and_no_warning() -> None:
    scores = {"x": (20, 40, 60), "y": (70, 30, 50), "z": (60, 80, 40)}
    rows = [
        (taster, sample, score)
        for taster, row in scores.items()
        for sample, score in zip("ABC", row, strict=True)
    ]
    result = stats.panel_consistency(pd.DataFrame(rows, columns=["taster", "sample", "score"]))
    assert result.icc_single_interval.low is None or result.icc_single_interval.low <= 1
    assert result.sentence()
