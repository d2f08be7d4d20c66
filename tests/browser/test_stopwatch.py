"""The stopwatch by touch: several products at once, through a lost network and a reload; stored is what was shown."""

from __future__ import annotations

import contextlib
import re
from typing import TYPE_CHECKING

import pytest

from panel.store.bench import measurements_of
from panel.store.register import products_of
from tests.browser.accessibility import hold
from tests.web.bench_house import BENCH_NAMES, BenchHouse

if TYPE_CHECKING:
    from playwright.sync_api import Locator, Page, Route

    from panel.store.bench_tables import Measurement
    from tests.browser.conftest import NewPhone, Serve

FOUR = BENCH_NAMES[:4]


def opened(house: BenchHouse, address: str, new_phone: NewPhone, by: str = "Mo", link: str = "") -> Page:
    """A phone that came by the bench's link, on the stopwatch, with a name in it."""
    phone = new_phone(address)
    phone.goto(link or house.link("bench"))
    phone.goto(f"/studies/{house.study}/bench/stopwatch")
    phone.get_by_label("Your name or initials").fill(by)
    return phone


def start(phone: Page, names: tuple[str, ...]) -> None:
    for name in names:
        phone.get_by_label(name, exact=True).tap()
    phone.get_by_role("button", name=re.compile("^Start")).tap()
    phone.locator(".watch-card").nth(len(names) - 1).wait_for()


def card(phone: Page, name: str) -> Locator:
    return phone.locator(".watch-card", has=phone.get_by_role("heading", name=name, exact=True))


def past(phone: Page, name: str, tenths: int) -> None:
    """Wait until the watch of this product shows more than so many tenths of a second."""
    phone.wait_for_function(
        """([name, tenths]) => {
            const cards = [...document.querySelectorAll(".watch-card")];
            const card = cards.find((each) => each.querySelector("h2").textContent === name);
            const [minutes, seconds] = card.querySelector(".digits").textContent.split(":");
            return Math.round(minutes * 600 + seconds * 10) > tenths;
        }""",
        arg=[name, tenths],
    )


def stop(phone: Page, name: str) -> None:
    card(phone, name).get_by_role("button", name="Stop").tap()
    line(phone, name).wait_for()


def line(phone: Page, name: str) -> Locator:
    return phone.locator(".watch-stopped li", has=phone.get_by_text(name, exact=True))


def shown(phone: Page) -> dict[str, str]:
    """Name -> time, of everything that was stopped."""
    lines = phone.locator(".watch-stopped li").all()
    return {one.locator("strong").inner_text(): one.locator(".digits-done").inner_text() for one in lines}


def says(phone: Page, text: str) -> None:
    phone.locator("#watch-state", has_text=re.compile(text)).wait_for()


def stored(house: BenchHouse) -> dict[str, Measurement]:
    with house.house.database.read() as session:
        names = {product.id: product.name for product in products_of(session, house.study)}
        return {names[row.product_id]: row for row in measurements_of(session, house.study)}


def tenths(text: str) -> int:
    """ "1:02.3" as 623."""
    minutes, seconds = text.split(":")
    return round(int(minutes) * 600 + float(seconds) * 10)


def test_four_products_through_a_lost_network_and_a_reload(
    house: BenchHouse, serve: Serve, new_phone: NewPhone
) -> None:
    phone = opened(house, serve(house.app), new_phone)
    start(phone, FOUR)
    past(phone, FOUR[0], 3)
    card(phone, FOUR[0]).get_by_role("button", name="Lap").tap()
    past(phone, FOUR[0], 6)
    stop(phone, FOUR[0])
    says(phone, "^Saved$")
    phone.context.set_offline(True)
    stop(phone, FOUR[1])
    says(phone, "1 time waits for the network")
    assert set(stored(house)) == {FOUR[0]}
    with contextlib.suppress(Exception):
        phone.reload()
    phone.context.set_offline(False)
    phone.goto(f"/studies/{house.study}/bench/stopwatch")
    assert phone.locator(".watch-card").count() == 2, "two still run, started before the reload"
    past(phone, FOUR[2], 12)
    stop(phone, FOUR[2])
    past(phone, FOUR[3], 15)
    stop(phone, FOUR[3])
    says(phone, "^Saved$")
    rows, seen = stored(house), shown(phone)
    assert set(rows) == set(seen) == set(FOUR)
    for name in FOUR:
        assert round(rows[name].value * 10) == tenths(seen[name])  # type: ignore[operator]
        assert (rows[name].typed, rows[name].run, rows[name].measured_by) == (seen[name], 1, "Mo")
    lap = tenths(re.search(r"lap 1 (\S+)", line(phone, FOUR[0]).inner_text())[1])  # type: ignore[index]
    assert rows[FOUR[0]].laps == f"[{lap / 10}]"
    assert rows[FOUR[3]].value > rows[FOUR[2]].value > rows[FOUR[0]].value  # type: ignore[operator]


def test_a_reply_that_is_lost_does_not_store_a_time_twice(
    house: BenchHouse, serve: Serve, new_phone: NewPhone
) -> None:
    phone = opened(house, serve(house.app), new_phone)
    answered: list[int] = []

    def swallow(route: Route) -> None:
        """Let the send through, and lose the answer on its way back."""
        answered.append(route.fetch().status)
        route.abort()

    phone.route("**/bench/stopwatch", swallow, times=1)
    start(phone, FOUR[:1])
    past(phone, FOUR[0], 4)
    stop(phone, FOUR[0])
    says(phone, "^Saved$")
    assert answered == [200]
    with house.house.database.read() as session:
        assert [row.run for row in measurements_of(session, house.study)] == [1]


def test_two_people_time_on_two_phones_at_once(house: BenchHouse, serve: Serve, new_phone: NewPhone) -> None:
    address, link = serve(house.app), house.link("bench")
    one, other = (opened(house, address, new_phone, by, link) for by in ("Mo", "Ann"))
    start(one, FOUR[:2])
    start(other, FOUR[2:])
    for phone, name in ((one, FOUR[0]), (other, FOUR[2]), (other, FOUR[3]), (one, FOUR[1])):
        past(phone, name, 4)
        stop(phone, name)
    says(one, "^Saved$")
    says(other, "^Saved$")
    rows = stored(house)
    assert {name: rows[name].measured_by for name in FOUR} == dict(
        zip(FOUR, ("Mo", "Mo", "Ann", "Ann"), strict=True)
    )
    assert {**shown(one), **shown(other)} == {name: rows[name].typed for name in FOUR}


def test_a_second_tap_right_after_starting_stops_nothing_and_a_mistaken_start_can_be_thrown_away(
    house: BenchHouse, serve: Serve, new_phone: NewPhone
) -> None:
    phone = opened(house, serve(house.app), new_phone)
    phone.evaluate(
        """() => addEventListener("submit", () => setTimeout(() => document.querySelector(".stop").click()))"""
    )
    start(phone, FOUR[:1])
    past(phone, FOUR[0], 5)
    assert phone.locator(".watch-stopped li").count() == 0
    card(phone, FOUR[0]).get_by_role("button", name="Mistake").tap()
    phone.get_by_role("button", name="Throw this start away").tap()
    assert phone.locator(".watch-card").count() == 0
    assert stored(house) == {}


def test_a_start_without_a_name_or_a_product_says_what_is_missing(
    house: BenchHouse, serve: Serve, new_phone: NewPhone
) -> None:
    phone = opened(house, serve(house.app), new_phone, by="")
    phone.get_by_role("button", name=re.compile("^Start")).tap()
    phone.get_by_text("Write your name or initials first.").wait_for()
    phone.get_by_label("Your name or initials").fill("Mo")
    phone.get_by_role("button", name=re.compile("^Start")).tap()
    phone.get_by_text("Tick what is to be started together.").wait_for()
    assert phone.locator(".watch-card").count() == 0


def test_times_wait_on_the_phone_while_its_link_is_replaced(
    house: BenchHouse, serve: Serve, new_phone: NewPhone
) -> None:
    phone = opened(house, serve(house.app), new_phone)
    start(phone, FOUR[:1])
    fresh = house.link("bench")
    past(phone, FOUR[0], 4)
    stop(phone, FOUR[0])
    says(phone, "Open your link again")
    phone.goto(fresh)
    phone.goto(f"/studies/{house.study}/bench/stopwatch")
    says(phone, "^Saved$")
    assert {name: row.typed for name, row in stored(house).items()} == shown(phone)


def test_without_javascript_times_are_typed(house: BenchHouse, serve: Serve, new_phone: NewPhone) -> None:
    phone = new_phone(serve(house.app), java_script_enabled=False)
    phone.goto(house.link("bench"))
    phone.goto(f"/studies/{house.study}/bench/stopwatch")
    phone.get_by_role("link", name="Time until done: type times").click()
    phone.get_by_label("Measured by").fill("Mo")
    phone.get_by_label("Time").first.fill("24:50")
    phone.get_by_role("button", name="Save").click()
    phone.get_by_text("Saved: 1 run.").wait_for()
    assert [(row.value, row.typed) for row in stored(house).values()] == [(1490.0, "24:50")]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_stopwatch_is_usable_by_everybody(
    house: BenchHouse, serve: Serve, new_phone: NewPhone, scheme: str
) -> None:
    """WCAG 2.2 AA as axe-core checks it; targets of 44 px and more."""
    phone = opened(house, serve(house.app), new_phone)
    phone.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
    start(phone, FOUR[:2])
    past(phone, FOUR[0], 4)
    stop(phone, FOUR[0])
    says(phone, "^Saved$")
    hold(phone, "stopwatch")
    small = phone.evaluate(
        """() => [...document.querySelectorAll("#watch :is(button, select, input[type=text], .choice, li > a)")]
        .filter((one) => one.getBoundingClientRect().height < 44).map((one) => one.textContent)"""
    )
    assert small == []
