"""A logger's series as pasted: separators, decimal commas, clock times, units, and what is wrong in which line."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from panel.bench.series import MOST_LINES, MOST_PROBLEMS, read_series
from panel.bench.units import convert

PLAIN = ((0.0, 92.5), (5.0, 90.1), (10.0, 88.0))


@pytest.mark.parametrize(
    "text",
    [
        "0 92.5\n5 90.1\n10 88",
        "0 92,5\n5 90,1\n10 88",
        "0;92,5\n5;90,1\n10;88",
        "0,92.5\n5,90.1\n10,88",
        "0, 92.5\n5, 90.1\n10, 88",
        '"0","92,5"\n"5","90,1"\n"10","88,0"',
        "0\t92.5\n5\t90.1 °C\n\n10\t88\n",
        "\ufeffMinute\tTemp\r\n0\t92.5\r\n5\t90.1\r\n10\t88\r\n",
        "Temperature,Time\n92.5,0\n90.1,5\n88,10",
        "Logger 7\nroom kitchen\nElapsed (h:mm:ss);T (°C)\n0:00:00;92,500\n0:05:00;90,100\n0:10:00;88,000",
        "Time (s),Temp (°C)\n0,92.5\n300,90.1\n600,88",
        "t/h;°C\n0;92,5\n0,08333333333;90,1\n0,16666666667;88",
        "1;0;92,5\n2;5;90,1\n3;10;88",
        "No.,Date,Time,Temp\n1,2026-11-26,14:05:00,92.5\n2,2026-11-26,14:10:00,90.1\n3,2026-11-26,14:15:00,88",
        "14:05 92.5\n14:10 90.1\n14:15 88",
        "23:55:00 92.5\n0:00:00 90.1\n0:05:00 88",
        "11:55 PM 92.5\n12:00 AM 90.1\n12:05 AM 88",
        "2026-11-26T23:55:00Z,92.5\n2026-11-27T00:00:00Z,90.1\n2026-11-27T00:05:00Z,88",
        "26.11.2026 14:05 92,5\n26.11.2026 14:10 90,1\n26.11.2026 14:15 88",
        "11/26/2026 2:05 PM, 92.5\n11/26/2026 2:10 PM, 90.1\n11/26/2026 2:15 PM, 88",
        "0 min 92.5 °C\n5 min 90.1 °C\n10 min 88 °C",
        "Minutes;Temp\n0;92,5\n3;--\n5;90,1\n10;88",
    ],
)
def test_a_series_is_the_same_however_it_is_written(text):
    found = read_series(text, "temperature-series", "°C")
    assert found.problems == ()
    for one, other in zip(found.readings, PLAIN, strict=True):
        assert one == pytest.approx(other, abs=1e-4)


@pytest.mark.parametrize(
    "text", ["min;°F\n0;203\n10;194", "min;T\n0;203 °F\n10;194F", "minutes,temp in °F\n0,203\n10,194"]
)
def test_a_unit_in_the_heading_or_beside_the_number_counts(text):
    assert read_series(text, "temperature-series", "°C").readings == ((0, 95), (10, 90))


def test_without_a_unit_it_is_the_one_shown():
    assert read_series("0 203\n10 194", "temperature-series", "°F").readings == ((0, 95), (10, 90))


def test_a_column_of_the_room_becomes_the_ambient():
    found = read_series("min;temp °C;room °F\n0;95;71.6\n5;90;73.4\n10;88;", "temperature-series", "°C")
    assert found.ambient == pytest.approx((22 + 23) / 2)
    assert len(found.readings) == 3


@pytest.mark.parametrize(
    ("text", "note"),
    [
        ("14:05 92\n14:10 90", "hours and minutes"),
        ("25:30 92\n27:10 90", "minutes and seconds"),
        ("23:50:00 92\n00:10:00 90", "passes midnight"),
        ("0:05:00 92\n0:10:00 90", "elapsed since the start"),
        ("0 92\n5 --\n10 90", "1 line without a value left out"),
        ("0 92\n0 92\n5 90", "1 line repeated"),
    ],
)
def test_how_it_was_taken_is_said(text, note):
    found = read_series(text, "temperature-series", "°C")
    assert found.problems == ()
    assert note in " ".join(found.notes)


def test_elapsed_times_keep_their_start():
    assert read_series("0:05:00 92\n0:10:00 90", "temperature-series", "°C").readings[0][0] == 5


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ("", 0, "one line for each reading"),
        ("92.5\n90", 1, "a time and a value"),
        ("0,92,5\n5,90,1", 1, "Commas stand within the numbers and between them"),
        ("0 92 5\n1 2 3", 1, "3 columns without headings"),
        ("Time;Probe 1;Probe 2\n0;1;2\n1;2;3", 1, "may all hold the values"),
        ("Time;Temp", 1, "no readings below them"),
        ("0 92\n5 abc\n10 90", 2, "is no number"),
        ("0 92\nfoo\n10 90", 2, "no value beside its time"),
        ("0 92\nfoo 91\n10 90", 2, "is no time"),
        ("0:00:00 92\n0:75:00 91", 2, "is no time"),
        ("0 92\n10 90\n5 91", 3, "goes back"),
        ("0 92\n5 90\n5 91", 3, "twice with different values"),
        ("0 92\n5 -300", 2, "out of reach"),
        ("0 92", 0, "two readings or more"),
        ("2026-13-01 14:05:00,92\n2026-11-26 14:06:00,91", 1, "no date and time"),
        ("03/04/2026 14:05, 92\n04/04/2026 00:10, 91", 1, "two ways"),
        ("0 92\n" * (MOST_LINES + 1), 0, "at most 20000 are read"),
    ],
)
def test_what_is_wrong_is_said_with_its_line(text, line, said):
    found = read_series(text, "temperature-series", "°C")
    assert found.readings == ()
    assert found.problems[0].line == line
    assert said in found.problems[0].text


def test_many_problems_are_counted_and_not_all_listed():
    found = read_series("0 1\n" + "".join(f"{n} x\n" for n in range(1, 60)), "temperature-series", "°C")
    assert len(found.problems) == MOST_PROBLEMS + 1
    assert found.problems[-1].text == f"{59 - MOST_PROBLEMS} more lines have problems."


@given(
    st.lists(st.tuples(st.integers(1, 60), st.integers(-400, 2000)), min_size=2, max_size=30),
    st.sampled_from([";", "\t", " "]),
    st.sampled_from(".,"),
    st.sampled_from(["°C", "°F"]),
    st.booleans(),
)
def test_what_is_written_out_is_read_back(steps, separator, comma, unit, headed):
    minutes, lines, expected = 0, [f"minutes{separator}value"] if headed else [], []
    for step, tenths in steps:
        minutes += step
        lines.append(f"{minutes}{separator}{tenths / 10}".replace(".", comma))
        expected.append((float(minutes), pytest.approx(convert(tenths / 10, unit, "°C"))))
    found = read_series("\n".join(lines), "temperature-series", unit)
    assert found.problems == ()
    assert list(found.readings) == expected


@given(st.text(alphabet='0123456789.,:;\t -/APMab°CF\n"', max_size=200))
def test_any_text_gives_readings_or_problems(text):
    found = read_series(text, "temperature-series", "°C")
    assert bool(found.readings) != bool(found.problems)
    assert all(problem.text.endswith(".") for problem in found.problems)
    times = [minutes for minutes, _ in found.readings]
    assert times == sorted(set(times))
