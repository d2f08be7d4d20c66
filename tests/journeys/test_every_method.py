"""Every test method from draft to verified export, through HTTP on a real server: what was tapped is what is stored."""

from __future__ import annotations

import csv
import io
import random
import re
import zipfile
from typing import TYPE_CHECKING

import pytest

from demo.phone import Taster, hidden_fields
from panel.analysis.verification import verify_bundle
from panel.store.sealing import samples_of
from panel.store.studies import study_called
from panel.study.set_answers import fields_of, options, set_kind
from panel.study.test_methods import TEST_METHODS, TestMethod
from tests.journeys.bare_python import recomputed
from tests.journeys.coming_back import comes_back_the_same
from tests.journeys.site import PASSPHRASE, Browser, Site, begin, seal

if TYPE_CHECKING:
    from pathlib import Path

    from demo.phone import Screen

IN_SETS = [method for method in TEST_METHODS.values() if method.wording is not None]
TASTERS = 6
AT_THE_END = {
    "question-0-text": "What did you look for?",
    "question-0-scale": "short-text",
    "question-0-at_end": "yes",
}


def typed_for(method: TestMethod) -> dict[str, str]:
    names = ("Velsund", "Pellworth", "Tarnwick")[: max(2, method.fewest)]
    typed = {f"product-{row}-name": name for row, name in enumerate(names)}
    typed |= {"method": method.id, "title": "Rice", "question": "Which?", "tasters": str(TASTERS)}
    typed |= {"condition-0-name": "plain", "replicates": "2", "no_preference": "yes", "attribute": "firmness"}
    if method.directed or method.needs_reference:
        typed["product-0-role"] = "stronger" if method.directed else "reference"
    return typed | AT_THE_END


def tap(draw: random.Random, method: TestMethod, screen: Screen) -> dict[str, str]:
    """What a guessing taster taps on a screen; nothing on that of a cup shown by name."""
    if not screen.codes:
        return {"q1": "the crust"}
    names = fields_of(method, len(screen.codes))
    match set_kind(method).form:
        case "pick":
            return {
                names[0]: draw.choice(
                    options(method, screen.codes, no_preference=method.analysis == "preference")
                ).value
            }
        case "pick two":
            return dict.fromkeys(draw.sample(names, 2), "1")
        case "groups":
            return dict(zip(names, draw.sample(["1", "1", "2", "2"], 4), strict=True))
    return dict(
        zip(names, draw.sample([str(rank) for rank in range(1, len(names) + 1)], len(names)), strict=True)
    )


def as_stored(method: TestMethod, sent: dict[str, str], cups: int) -> str:
    """The one text that the data hold for what was tapped, written out independently of the code under test."""
    match set_kind(method).form:
        case "pick":
            return sent["choice"]
        case "pick two":
            return " ".join(sorted(name.partition(".")[2] for name in sent))
        case "groups":
            first = sent["choice.1"]
            return " ".join("1" if sent[f"choice.{n}"] == first else "2" for n in range(1, cups + 1))
    return " ".join(sent[f"choice.{n}"] for n in range(1, cups + 1))


@pytest.mark.parametrize("method", IN_SETS, ids=lambda method: method.id)
def test_a_method_works_from_plan_to_verified_export(
    shared_site: Site, organiser: Browser, method: TestMethod, tmp_path: Path
) -> None:
    study = begin(organiser, typed_for(method))
    seal(organiser, study)
    fill = organiser.post(f"/studies/{study}/print/fill-sheet.pdf", {"passphrase": PASSPHRASE})
    assert fill.body.startswith(b"%PDF")
    for sheet in ("labels", "pour-sheet"):
        assert organiser.get(f"/studies/{study}/print/{sheet}.pdf").body.startswith(b"%PDF")
    organiser.post(f"/studies/{study}/open", {})
    tapped = _taste(shared_site, organiser, study, method)
    organiser.post(f"/studies/{study}/close", {})
    report = organiser.get(f"/studies/{study}/report").text
    assert "There is too little to analyse" not in report
    assert "the crust" in report
    link = organiser.post(f"/studies/{study}/links", {"role": "analyst"}).text
    analyst = shared_site.browser()
    analyst.get("/in/" + re.findall(r"/in/([\w-]+)", link)[0])
    assert "The results are fixed" in analyst.post(f"/studies/{study}/sign", {"signed_by": "Bo"}).text
    revealed = organiser.post(f"/studies/{study}/reveal", {"passphrase": PASSPHRASE}).text
    if method.analysis in ("preference", "ranking"):
        assert "Velsund (" in revealed, "the report goes by name"
    bundle = organiser.get(f"/studies/{study}/export").body
    assert verify_bundle(bundle).first_failure is None
    again = recomputed(bundle, tmp_path / "bundle")
    assert again.returncode == 0, again.stdout + again.stderr
    # How many answers, the statistic and its p; of rankings without a loser, the statistic and its p.
    assert again.stdout.count(" equal\n") >= (2 if method.analysis == "ranking" else 3)
    comes_back_the_same(bundle, tmp_path)
    with zipfile.ZipFile(io.BytesIO(bundle)) as archive:
        choices = list(csv.DictReader(io.StringIO(archive.read("choices.csv").decode())))
        at_end = list(csv.DictReader(io.StringIO(archive.read("answers.csv").decode())))
    stored = [(row["taster"], row["chosen"]) for row in choices]
    assert sorted(stored) == sorted(tapped)
    assert [(row["question"], row["sample"], row["value"]) for row in at_end] == [
        ("q1", "", "the crust")
    ] * TASTERS
    _right_where_right(shared_site, study, method, choices)


def _taste(site: Site, organiser: Browser, study: str, method: TestMethod) -> list[tuple[str, str]]:
    poster = organiser.get(f"/studies/{study}/poster").text
    join = "/J/" + poster.split("/J/")[1][:26]
    draw, tapped = random.Random(method.id), []
    for number in range(1, TASTERS + 1):
        taster = Taster(site.address, join)
        known = method.known_first
        for screen in taster.screens:
            sent = {} if known else tap(draw, method, screen)
            taster.answer(screen, sent)
            if screen.codes and not known:
                tapped.append((f"T{number:02d}", as_stored(method, sent, len(screen.codes))))
            known = False
    assert f"{TASTERS} finished, 0 tasting, 0 free" in organiser.get(f"/studies/{study}/room").text
    return tapped


def _right_where_right(site: Site, study: str, method: TestMethod, choices: list[dict[str, str]]) -> None:
    """The column `correct` against the samples served, told from the labels' roles by hand."""
    with site.house.database.read() as session:
        found = study_called(session, study)
        assert found is not None
        role = {sample.role: sample.blind_label for sample in samples_of(session, study)}
    truth = {
        "odd one": lambda s, c: s.count(s[int(c) - 1]) == 1,
        "like the reference": lambda s, c: s[int(c) - 1] == s[0],
        "stronger one": lambda s, c: s[int(c) - 1] == role["stronger"],
        "two groups": lambda s, c: len({*zip(s, c.split(), strict=True)}) == 2,
        "two of a kind": lambda s, c: (
            len({s[int(n) - 1] for n in c.split()}) == 1 and s.count(s[int(c[0]) - 1]) == 2
        ),
        "same or different": lambda s, c: (s[0] == s[1]) == (c == "same"),
        "is it A": lambda s, c: (s[0] == role["reference"]) == (c == "yes"),
    }
    for row in choices:
        expected = ""
        if method.answer in truth:
            expected = "yes" if truth[method.answer](row["samples"].split(), row["chosen"]) else "no"
        assert row["correct"] == expected, row


def test_hidden_fields_of_a_ballot_hold_no_more_than_the_name_of_the_send(
    shared_site: Site, organiser: Browser
) -> None:
    study = begin(organiser, typed_for(TEST_METHODS["tetrad"]))
    seal(organiser, study)
    organiser.post(f"/studies/{study}/open", {})
    poster = organiser.get(f"/studies/{study}/poster").text
    taster = Taster(shared_site.address, "/J/" + poster.split("/J/")[1][:26])
    page = taster.phone.get(taster.screens[0].action.rpartition("/")[0])
    assert set(hidden_fields(page.text)) == {"submission"}
