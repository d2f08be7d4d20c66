"""What tasters read before they agree: doses with limit and source, and nothing that could change unseen."""

from __future__ import annotations

from dataclasses import replace

import pytest

from panel.study.notices import AGAIN, ONCE, notice_of, retasting
from panel.study.plan import Pace, Plan

PLAN = Plan("t", "h", "q", "rating", 3, 4)


def test_nothing_is_said_of_doses_that_are_not_counted() -> None:
    assert notice_of(PLAN, 6).doses == ()


def test_caffeine_is_added_up_over_the_sitting_and_held_against_the_day() -> None:
    """200 mg at once and 400 mg a day: EFSA Scientific Opinion on the safety of caffeine (2015)."""
    (told,) = notice_of(replace(PLAN, caffeine_mg=32.5), 6).doses
    assert told == (
        "If you swallow everything, this sitting holds at most 195 mg of caffeine in 6 cups. Up to 400 mg a day are of "
        "no concern for healthy adults who are not pregnant (EFSA 2015). Count what else you drink today."
    )


@pytest.mark.parametrize(("cups", "much"), [(2, False), (3, True)], ids=["just 200 mg", "beyond it"])
def test_more_caffeine_than_is_fit_at_once_is_said(cups: int, much: bool) -> None:
    (told,) = notice_of(replace(PLAN, caffeine_mg=100), cups).doses
    assert ("more than that at once, so spit out or leave some" in told) == much
    assert f"at most {cups * 100} mg" in told


def test_alcohol_is_said_with_its_limit_and_source() -> None:
    """14 units a week of 8 g: UK Chief Medical Officers' low risk drinking guidelines (2016); by seven, 16 g a day."""
    (told,) = notice_of(replace(PLAN, alcohol_g=1.25), 6).doses
    assert "at most 7.5 g of alcohol in 6 cups" in told
    assert (
        "16 g a day is the limit counted here, from 14 UK units a week (UK Chief Medical Officers 2016)"
        in told
    )


def test_what_was_read_has_a_fingerprint_of_its_own() -> None:
    plans = [
        PLAN,
        replace(PLAN, consent_more="Ada keeps the list."),
        replace(PLAN, caffeine_mg=10),
        replace(PLAN, briefing="Taste slowly."),
        replace(PLAN, cautions=("hot",)),
    ]
    assert len({notice_of(plan, 6).fingerprint for plan in plans}) == len(plans)
    assert (
        notice_of(replace(PLAN, caffeine_mg=10), 6).fingerprint
        != notice_of(replace(PLAN, caffeine_mg=10), 7).fingerprint
    )


def test_tasting_again_is_told_either_way() -> None:
    assert retasting(PLAN) == AGAIN == "You may taste again."
    assert retasting(replace(PLAN, pace=Pace(retaste=False))) == ONCE == "Taste each cup once."
