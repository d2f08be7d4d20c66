"""A taster's record from signed results: where they stand, and when a hint is given."""

from __future__ import annotations

from typing import Any

import pytest

from panel.analysis.record_view import attendance_table, choices_table, level_chart, panel_table, scores_table
from panel.analysis.taster_record import Seat, SignedStudy, record_of


def signed(number: int, levels: dict[str, float], flagged: tuple[str, ...] = ()) -> SignedStudy:
    """A signed study of these tasters' levels on one attribute."""
    rows = [
        {"taster": name, "n": 5, "bias": bias, "discrimination_p": 0.01, "repeatability_sd": None,
         "repeatability_df": 0, "agreement": 0.5}
        for name, bias in levels.items()
    ]  # fmt: skip
    consistency: dict[str, Any] = {
        "tasters": rows, "flags": [{"taster": name, "about": "flat scale"} for name in flagged],
        "n_tasters": len(levels), "icc_single": 0.4, "icc_average": 0.8, "kendall_w": 0.6,
    }  # fmt: skip
    attribute = {"title": "Liking", "standing": "primary", "consistency": consistency}
    other = {"title": "Ticks", "standing": "secondary", "consistency": None}
    return SignedStudy(f"s{number}", f"Round {number}", f"2026-0{number}-01T10:00:00+00:00", "Rating",
                       {"attributes": [other, attribute]}, (), None)  # fmt: skip


EVEN = {"T01": 0.1, "T02": -0.1, "T03": 0.2, "T04": -0.2, "T05": 0.0}
APART = {**EVEN, "T01": 3.0}
SEAT = Seat("T01", 5, 5, True, 0, "")


def test_the_level_is_mandels_h_with_its_limits() -> None:
    record = record_of([(signed(1, APART), SEAT)])
    line = record.lines[0].leading
    assert line is not None
    assert line.h == pytest.approx((3.0 - 0.58) / 1.3608, abs=0.001)
    assert line.outside == ("level",)
    assert (line.k, line.primary) == (None, True)


@pytest.mark.parametrize(
    ("rounds", "hint"),
    [
        ((APART,), ""),
        ((APART, EVEN), ""),
        ((APART, EVEN, APART), "Stands out in 2 of the last 3 studies with scores: “Round 1”, “Round 3”."),
        ((APART, APART, EVEN, EVEN), ""),
        (
            (EVEN, EVEN, APART, APART),
            "Stands out in 2 of the last 3 studies with scores: “Round 3”, “Round 4”.",
        ),
    ],
    ids=["once", "once of two", "twice of three", "long ago", "lately"],
)
def test_a_hint_needs_two_of_the_last_three(rounds: tuple[dict[str, float], ...], hint: str) -> None:
    attended = [(signed(number, levels), SEAT) for number, levels in enumerate(rounds, start=1)]
    assert record_of(attended).hint == hint
    assert record_of(attended[::-1]).hint == hint, "by the day of the signature, not by the order given"


def test_a_flag_of_the_time_counts_as_much_as_a_limit() -> None:
    attended = [(signed(number, EVEN, flagged=("T01",)), SEAT) for number in (1, 2)]
    assert record_of(attended).hint.startswith("Stands out in 2 of the last 2 studies")


def test_tables_and_chart_say_what_they_hold() -> None:
    record = record_of([(signed(1, APART), SEAT), (signed(2, EVEN), Seat("T01", 3, 5, False, 1, "ill"))])
    attendance = attendance_table(record, lambda at: at[:10])
    assert attendance.rows[1] == ("Round 2", "2026-02-01", "Rating", "3 of 5", "1", "left out: ill")
    scores = scores_table(record)
    assert scores is not None
    assert scores.rows[0][-1] == "level beyond the 5 % limit"
    assert scores.rows[0][4] == "–", "no repeats, no figure"
    assert choices_table(record) is None
    chart = level_chart(record)
    assert chart is not None
    assert chart.svg.startswith("<svg")
    assert "Round 1: +1.78" in chart.alt
    assert chart.data is not None
    assert chart.data.rows[0][-2:] == ("±1.57", "±1.72")
    assert level_chart(record_of([(signed(1, APART), SEAT)])) is None, "one study is no time"


def test_right_answers_against_guessing() -> None:
    study = SignedStudy("t", "Told apart", "2026-01-01T10:00:00+00:00", "Triangle test", {}, (), 1 / 3)
    record = record_of([(study, Seat("T02", 5, 5, True, 0, "", right=4, sets=5))])
    assert record.lines[0].p_value == pytest.approx(11 / 243), "5 (1/3)^4 (2/3) + (1/3)^5"
    assert record.right == (4, 5)
    table = choices_table(record)
    assert table is not None
    assert table.rows[0][2] == "4 of 5"
    assert (record.hint, scores_table(record), level_chart(record)) == ("", None, None)


def test_the_panels_table_shows_one_line_a_study_with_scores() -> None:
    bare = SignedStudy("t", "Told apart", "2026-01-01T10:00:00+00:00", "Triangle test", {}, (), 1 / 3)
    table = panel_table([signed(1, APART, flagged=("T01",)), bare], lambda at: at[:10])
    assert table is not None
    assert table.rows == (("Round 1", "2026-01-01", "Liking", "5", "0.40", "0.80", "0.60", "1"),)
    assert panel_table([bare], lambda at: at[:10]) is None
