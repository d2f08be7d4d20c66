"""Times stand in the organiser's zone and numbers in the reader's locale; what is stored and exported does not move.

Zone names and offsets: the IANA time zone database. Locale patterns: CLDR, as Babel carries it.
"""

from __future__ import annotations

import csv
import io
import re
import zipfile
from datetime import UTC, datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import pytest
from babel import Locale
from typer.testing import CliRunner

from panel.analysis.figures import bars_figure
from panel.cli import app
from panel.settings import Settings
from panel.store.ledger import events_of
from panel.web.local import Local, local_of
from panel.web.words import words_in
from tests.web.desk import Desk, words

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

NOON = datetime(2026, 7, 1, 12, 5, tzinfo=UTC)


def written(zone: str, locale: str) -> Local:
    return local_of(Settings(time_zone=zone, locale=locale))


@pytest.mark.parametrize(
    ("zone", "locale", "moment", "day"),
    [
        ("Europe/Vienna", "en-GB", "1 Jul 2026, 14:05 CEST", "1 Jul 2026"),
        ("Europe/Vienna", "de-AT", "01.07.2026, 14:05 CEST", "01.07.2026"),
        ("America/Chicago", "en-US", "Jul 1, 2026, 7:05 AM CDT", "Jul 1, 2026"),
        ("Pacific/Auckland", "en-GB", "2 Jul 2026, 00:05 NZST", "2 Jul 2026"),
        ("America/Sao_Paulo", "en-GB", "1 Jul 2026, 09:05 UTC-03", "1 Jul 2026"),
    ],
)
def test_a_moment_is_said_in_the_zone_and_the_locale(zone: str, locale: str, moment: str, day: str) -> None:
    local = written(zone, locale)
    assert re.sub(r"\s", " ", local.moment(NOON)) == moment
    assert local.moment(NOON.isoformat()) == local.moment(NOON)
    assert local.day(NOON) == day


def test_winter_and_summer_each_have_their_own_offset() -> None:
    local = Local(ZoneInfo("Europe/Vienna"), Locale("en", "GB"))
    assert local.moment("2026-01-01T12:00:00.000+00:00").endswith("13:00 CET")
    assert local.moment("2026-07-01T12:00:00.000+00:00").endswith("14:00 CEST")


@pytest.mark.parametrize(
    ("text", "german"),
    [
        ("F(4, 92) = 30.4, p < 0.0001", "F(4, 92) = 30,4, p < 0,0001"),
        ("(mean 6.96, 95 % interval 6.58 to 7.33)", "(mean 6,96, 95 % interval 6,58 to 7,33)"),
        ("−0.25", "−0,25"),
        ("It ends with 7.5.", "It ends with 7,5."),
        ("ISO 6658:2017, 5.2.7 and RFC 8265, 4.2.2", "ISO 6658:2017, 5.2.7 and RFC 8265, 4.2.2"),
        ("scipy 1.17.1", "scipy 1.17.1"),
        ("question q3.12 of T07", "question q3.12 of T07"),
        ("rice.2.csv", "rice.2.csv"),
    ],
)
def test_decimals_follow_the_locale_and_nothing_else_does(text: str, german: str) -> None:
    assert written("UTC", "de-DE").figures(text) == german
    assert written("UTC", "en-GB").figures(text) == text


def test_a_figure_is_written_with_its_words_and_the_numbers_behind_it() -> None:
    bars = bars_figure([("plain 1.5", 2.5)], title="Shares of 0.5", axis="share", name="shares")
    shown = written("UTC", "de-DE").part(bars)
    assert (shown.title, shown.alt) == ("Shares of 0,5", "Shares of 0,5. plain 1,5 2,5.")
    assert shown.data.rows == (("plain 1,5", "2,5"),)
    assert ">2,5<" in shown.svg


def test_a_number_is_written_with_the_decimals_asked_for() -> None:
    assert written("UTC", "de-DE").number(-2.5) == "−2,5"
    assert written("UTC", "en-GB").number(1 / 3, 2) == "0.33"


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("PANEL_TIME_ZONE", "Middle/Earth", "PANEL_TIME_ZONE: no time zone is called 'Middle/Earth'"),
        ("PANEL_LOCALE", "tlh-QQ-xx-1", "PANEL_LOCALE: no locale is called"),
    ],
)
def test_a_wrong_setting_is_named_in_a_sentence(
    name: str, value: str, said: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv(name, value)
    ended = CliRunner().invoke(app, ["backup", str(tmp_path / "x.zip"), "--data", str(tmp_path)])
    assert ended.exit_code == 2
    assert said in ended.stderr
    assert "Traceback" not in ended.output


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Desk]:
    monkeypatch.setenv("PANEL_TIME_ZONE", "Pacific/Auckland")
    monkeypatch.setenv("PANEL_LOCALE", "de-DE")
    desk = Desk(tmp_path)
    yield desk
    desk.close()


def test_pages_speak_the_organisers_zone_and_locale_while_the_files_stay_as_they_are(desk: Desk) -> None:
    desk.draft()
    for planning in (f"{desk.at}/plan", "/studies/new?asks=liked&products=5"):
        said = words(desk.ada.get(planning))
        assert "a spread of 1,8 points" in said, planning
        assert not re.search(r"\d\.\d points", said), planning
    desk.seal()
    desk.open()
    desk.taste(4)
    desk.shut()
    with desk.read() as session:  # type: ignore[attr-defined]
        at = events_of(session, desk.study)[0].at
    there = datetime.fromisoformat(at).astimezone(ZoneInfo("Pacific/Auckland"))
    log, people = words(desk.ada.get(f"{desk.at}/log")), words(desk.ada.get(f"{desk.at}/people"))
    assert f"{there:%d.%m.%Y, %H:%M %Z}" in log
    assert f"{there:%Z}" in people
    assert f"{there:%d.%m.%Y}" in words(desk.ada.get("/"))
    report = words(desk.ada.get(f"{desk.at}/report"))
    assert re.search(r"p = 0,\d+", report)
    assert not re.search(r"p = 0\.\d+", report)
    with zipfile.ZipFile(io.BytesIO(desk.bundle())) as archive:
        rows = list(csv.DictReader(io.StringIO(archive.read("answers.csv").decode())))
        assert f'"at": "{at}"' in archive.read("events.jsonl").decode()
    assert {row["value"] for row in rows if row["question"] == "q1"} <= {f"{n}.0" for n in range(1, 10)}


def test_a_limit_is_said_to_tasters_in_the_studys_language() -> None:
    from panel.study.answers import limits_text
    from panel.study.plan import Question

    asked = limits_text(Question("q1", "How many minutes?", "number", least=0.5, most=12.0))
    assert str(asked) == "Write a number from 0.5 to 12."
    assert "0,5" in words_in("de")(asked)
    assert "12" in words_in("de")(asked)
    assert "12,0" not in words_in("de")(asked)
