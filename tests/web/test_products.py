"""The register through its pages: search, kinds, tested before, and one product across rounds."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from panel.store.register import add_product, set_kind
from tests.web.bench_house import BENCH, BENCH_NAMES, BenchHouse
from tests.web.desk import words
from tests.web.test_bench import enter

if TYPE_CHECKING:
    pass


def found(house: BenchHouse, query: str) -> list[str]:
    page = house.ada.get(f"/products?{query}").text
    return re.findall(r'href="/products/[a-z2-7]{16}">([^<]+)<', page)


def all_the_way(house: BenchHouse) -> None:
    house.tasted = 0
    house.open()
    house.taste(4)
    house.shut()
    house.sign()
    house.reveal()


def test_hundreds_of_products_are_searched_filtered_and_paged(house: BenchHouse) -> None:
    with house.house.database.write() as session:
        added = [
            add_product(session, f"Pot {n:03}", "Ötting" if n % 2 else "Kiln & Co", "", "").id
            for n in range(240)
        ]
        set_kind(session, added, "clay pot")
    assert found(house, "words=ötting pot 001") == ["Pot 001"]
    assert len(found(house, "kind=clay+pot")) == 50
    assert found(house, "kind=clay+pot&number=5")[-1] == "Pot 239"
    assert "page 5 of 5" in words(house.ada.get("/products?kind=clay+pot&number=99"))
    assert found(house, "maker=Kiln+%26+Co&number=3")[-1] == "Pot 238"
    assert found(house, "tested=yes") == list(BENCH_NAMES)
    assert len(found(house, "tested=no")) == 50
    assert "Nothing fits" in words(house.ada.get("/products?words=no+such"))
    following = re.search(r'href="([^"]+)">Next page', house.ada.get("/products?maker=Kiln+%26+Co").text)
    assert len(found(house, following[1].replace("&amp;", "&").partition("?")[2])) == 50  # type: ignore[index]


def test_a_product_is_added_once_and_described_but_never_renamed(house: BenchHouse) -> None:
    page = house.ada.post("/products", data={"name": "Fresh One", "maker": "Somebody"})
    key = str(page.url).rsplit("/", 1)[1]
    again = house.ada.post("/products", data={"name": " fresh  ONE", "maker": "Kept as typed"})
    assert (again.status_code, "in the register already" in words(again)) == (422, True)
    assert 'value="Kept as typed"' in again.text
    said = {
        "maker": "Somebody Else",
        "kind": "rice cooker",
        "note": "Two lids",
        "reference": "yes",
        "name": "Renamed",
    }
    page = house.ada.post(f"/products/{key}", data=said)
    assert "Fresh One" in words(page)
    assert "Renamed" not in words(page)
    assert "Somebody Else, rice cooker reference" in words(page)
    long = house.ada.post(f"/products/{key}", data={**said, "note": "x" * 3000})
    assert (long.status_code, "Shorten the note" in words(long)) == (422, True)


def test_ticked_products_get_one_kind(house: BenchHouse) -> None:
    ids = house.products()
    chosen = [ids["Grainsong"], ids["Velsund"]]
    page = house.ada.post("/products/kind", data={"product": chosen, "new_kind": "rice cooker", "query": ""})
    assert "The kind of 2 products was changed." in words(page)
    assert found(house, "kind=rice+cooker") == ["Grainsong", "Velsund"]
    page = house.ada.post("/products/kind", data={"new_kind": "rice cooker", "query": ""})
    assert "tick the products first" in words(page)


def test_giving_a_kind_keeps_what_was_looked_for(house: BenchHouse) -> None:
    looked = house.ada.get("/products", params={"words": "velsund works", "maker": "Velsund Works"})
    query = re.search(r'name="query" value="([^"]+)"', looked.text)[1].replace("&amp;", "&")  # type: ignore[index]
    sent = {"product": house.products()["Grainsong"], "new_kind": "rice cooker", "query": query}
    page = house.ada.post("/products/kind", data=sent)
    assert re.findall(r'href="/products/[a-z2-7]{16}">([^<]+)<', page.text) == found(
        house, "maker=Velsund+Works"
    )
    assert found(house, "maker=Velsund+Works")


def test_tested_before_tells_the_letter_only_after_the_reveal(house: BenchHouse) -> None:
    enter(house, "m1", value_of_Grainsong="24:50")
    at = f"/products/{house.products()['Grainsong']}"
    before = words(house.ada.get(at))
    assert "mean of the runs: 24.8" in before
    assert "until then nobody knows which letter this is" in before
    assert "Blind letter" not in before
    all_the_way(house)
    assert re.search(r"Blind letter [A-E] : its results by taste", words(house.ada.get(at)))


def test_a_product_across_two_rounds_is_compared_through_the_reference_alone(house: BenchHouse) -> None:
    """By hand: 25 to 20 min is 5 min above the reference, then 28 to 24 is 4; between the rounds -1 min."""
    ids = house.products()
    at = f"/products/{ids['Grainsong']}"
    for run in ("-0.2", "+0", "+0.2"):
        enter(house, "m1", value_of_Grainsong=f"{25 + float(run)}", value_of_Ricelet=f"{20 - float(run)}")
    all_the_way(house)
    house.draft({**BENCH, "title": "Rice, round two"})
    house.seal()
    for run in ("-0.2", "+0", "+0.2"):
        enter(house, "m1", value_of_Grainsong=f"{28 + float(run)}", value_of_Ricelet=f"{24 - float(run)}")
    assert "nothing ties them" in words(house.ada.get(at))
    house.ada.post(f"/products/{ids['Ricelet']}", data={"reference": "yes"})
    said = words(house.ada.get(at))
    assert "Rice, round two beside Rice, round one" in said
    assert "Against the reference Ricelet, which ties the rounds, in “Time until done”" in said
    assert re.search(r"Between the two: [−-]1\.0", said), said
    assert "This product is the reference itself" in words(house.ada.get(f"/products/{ids['Ricelet']}"))


def test_a_draft_says_which_of_its_products_were_tested_before_or_come_from_another_maker(
    house: BenchHouse,
) -> None:
    house.draft(
        {**BENCH, "title": "Another", "product-0-maker": "Somebody Else", "product-1-name": "Fresh One"}
    )
    page = house.ada.get(f"{house.at}/draft").text
    hints = dict(re.findall(r'id="product-(\d)-name-hint">([^<]+)<', page))
    assert hints["0"].startswith(
        "Tested before, in “Rice, round one”. The register has it from Velsund Works"
    )
    assert hints["2"] == "Tested before, in “Rice, round one”."
    assert "1" not in hints


def test_an_unknown_product_is_not_found(house: BenchHouse) -> None:
    assert house.ada.get("/products/none").status_code == 404
    assert house.ada.post("/products/none", data={"maker": "x"}).status_code == 404
