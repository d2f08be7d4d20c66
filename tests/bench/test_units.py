"""Units: what people type, conversions there and back, and what cannot be read in one way only."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from panel.bench.units import convert, number, read, read_step, shown, stored
from panel.study.quantities import QUANTITIES

SI_BROCHURE = "BIPM, The International System of Units, 9th edition, table 8, and Celsius' definition"
NIST_SP_811 = "NIST SP 811 (2008), appendix B.8; from memory"

WITH_UNITS = [kind for kind in QUANTITIES.values() if len(kind.units) > 1]


@pytest.mark.parametrize(
    ("value", "source", "target", "expected", "where_from"),
    [
        (1, "h", "s", 3600, SI_BROCHURE),
        (1, "min", "s", 60, SI_BROCHURE),
        (0, "°C", "°F", 32, SI_BROCHURE),
        (100, "°C", "°F", 212, SI_BROCHURE),
        (-40, "°F", "°C", -40, SI_BROCHURE),
        (1, "lb", "g", 453.59237, NIST_SP_811),
        (1, "oz", "g", 28.349523125, NIST_SP_811),
        (1, "in", "mm", 25.4, NIST_SP_811),
        (1, "fl oz", "ml", 29.5735295625, NIST_SP_811),
        (1, "kWh", "kJ", 3600, NIST_SP_811),
    ],
)
def test_conversions_are_those_of_the_standards(value, source, target, expected, where_from):
    assert convert(value, source, target) == pytest.approx(expected, rel=1e-12), where_from


def test_a_difference_of_temperatures_has_no_zero_point():
    assert convert(10, "°C", "°F", difference=True) == pytest.approx(18)
    assert convert(18, "°F·min", "°C·min") == pytest.approx(10)
    assert read_step("0.9 °F", "temperature", "°C") == pytest.approx(0.5)
    assert read_step("0,1", "temperature", "°F") == pytest.approx(0.1 * 5 / 9)


def test_a_cup_is_what_the_study_says():
    assert read("1.5 cups", "capacity", "ml", cup_ml=180) == 270
    assert read("1.5", "capacity", "cup", cup_ml=250) == 375
    assert convert(500, "ml", "cup", cup_ml=250) == pytest.approx(2)


@given(st.sampled_from(WITH_UNITS), st.data(), st.floats(-200, 1e6), st.floats(50, 500), st.booleans())
def test_every_unit_comes_back_from_every_other(kind, data, value, cup_ml, difference):
    first, second = data.draw(st.sampled_from(kind.units)), data.draw(st.sampled_from(kind.units))
    there = convert(value, first, second, cup_ml=cup_ml, difference=difference)
    back = convert(there, second, first, cup_ml=cup_ml, difference=difference)
    assert back == pytest.approx(value, rel=1e-9, abs=1e-9)
    kept = stored(value, kind.id, first, cup_ml=cup_ml)
    assert shown(kept, kind.id, first, cup_ml=cup_ml) == pytest.approx(value, rel=1e-9, abs=1e-9)


@given(st.sampled_from(WITH_UNITS), st.data(), st.decimals(0, 9999, places=2), st.sampled_from(".,"))
def test_what_is_shown_can_be_typed_again(kind, data, value, comma):
    unit = data.draw(st.sampled_from(kind.units))
    text = f"{value} {unit}".replace(".", comma)
    other = data.draw(st.sampled_from(kind.units))
    expected = stored(float(value), kind.id, unit)
    assert read(text, kind.id, other) == pytest.approx(expected, rel=1e-9, abs=1e-9)


@given(st.integers(0, 99), st.integers(0, 59), st.integers(0, 59))
def test_a_time_is_the_same_however_it_is_written(hours, minutes, seconds):
    expected = hours * 3600 + minutes * 60 + seconds
    assert read(f"{hours}:{minutes:02}:{seconds:02}", "duration", "min") == expected
    assert read(f"{hours} h {minutes:02} min {seconds} s", "duration", "s") == expected
    assert read(f"{hours}:{minutes:02}", "duration", "min") == hours * 60 + minutes


@pytest.mark.parametrize(
    ("text", "quantity", "unit", "expected"),
    [
        ("23 min", "duration", "s", 1380),
        ("1h05", "duration", "s", 3900),
        ("5 m", "duration", "s", 300),
        ("24:50.5", "duration", "h", 1490.5),
        ("0:45,2", "duration", "min", 45.2),
        ("203 °F", "temperature", "°C", 95),
        ("203F", "temperature", "°C", 95),
        ("0", "mass", "g", 0),
        ("203°", "temperature", "°F", 95),
        ("−4,5", "temperature", "°C", -4.5),
        ("1½ cups", "capacity", "ml", 270),
        ("1 1/2 cups", "capacity", "ml", 270),
        ("⅓ cup", "capacity", "ml", 60),
        ("12\u202f345 g", "mass", "g", 12345),
        ("0,125 kg", "mass", "g", 125),
        ("1 m", "length", "mm", 1000),
        ('2"', "length", "mm", 50.8),
        ("2.5 MJ", "energy", "kWh", 2500 / 3.6),
        ("62,5 dBA", "noise", "dB(A)", 62.5),
        ("€ 12,50", "price", "EUR", 12.5),
        ("12.50 eur", "price", "EUR", 12.5),
        ("passed", "check", "", 1),
        ("Fail", "check", "", 0),
    ],
)
def test_people_write_as_they_like(text, quantity, unit, expected):
    assert read(text, quantity, unit) == pytest.approx(expected, rel=1e-11)


@pytest.mark.parametrize(
    ("text", "quantity", "unit", "said"),
    [
        ("", "mass", "g", "Write a value in g"),
        ("abc", "mass", "g", "not understood"),
        ("5,", "mass", "g", "not understood"),
        ("1,234", "mass", "g", "may mean 1234 or 1.234"),
        ("1:05", "duration", "h", "hours and minutes or minutes and seconds"),
        ("1:75", "duration", "s", "is no time"),
        ("1:5", "duration", "s", "is no time"),
        ("1 h 90 min", "duration", "s", "not less than one of the unit before"),
        ("5 kg", "temperature", "°C", "no unit of temperature"),
        ("62 dB", "noise", "dB(A)", "Levels do not convert"),
        ("90 20", "temperature", "°C", "holds 2 numbers"),
        ("5 s 3 h", "duration", "s", "the larger unit first"),
        ("2 lb 3", "mass", "g", "a unit behind each number"),
        ("-5", "mass", "g", "cannot be below 0"),
        ("-300", "temperature", "°C", "absolute zero"),
        ("9" * 12, "mass", "g", "out of reach"),
        ("1/0", "mass", "g", "divides by zero"),
        ("4.5", "count", "", "whole number"),
        ("4 g", "count", "", "has no unit"),
        ("7", "rating", "", "from 1 to 5"),
        ("12 USD", "price", "EUR", "another currency"),
        ("perhaps", "check", "", "passed or failed"),
        ("m" * 100, "mass", "g", "too long"),
    ],
)
def test_what_cannot_be_read_is_said_in_a_sentence(text, quantity, unit, said):
    with pytest.raises(ValueError, match=said):
        read(text, quantity, unit)


@given(st.text(max_size=30), st.sampled_from(sorted(QUANTITIES)), st.data())
def test_any_text_is_a_number_or_a_sentence(text, quantity, data):
    unit = data.draw(st.sampled_from(QUANTITIES[quantity].units or ("",)))
    try:
        found = read(text, quantity, unit)
    except ValueError as problem:
        found = str(problem)
    assert isinstance(found, float) or found.endswith(".")


@pytest.mark.parametrize(
    ("text", "value"), [("1.5", 1.5), ("1,5", 1.5), ("-3/4", -0.75), ("2 1/2", 2.5), ("½", 0.5)]
)
def test_numbers_without_units(text, value):
    assert number(text) == value


def test_an_instruments_step_is_above_nothing():
    with pytest.raises(ValueError, match="above 0"):
        read_step("0", "mass", "g")
    with pytest.raises(ValueError, match="There is no conversion"):
        convert(1, "dB(A)", "g")
