"""Cup labels: every symbol is scanned back, every position measured in the PDF."""

from dataclasses import replace

import pytest

from panel.printing import SHEETS, CupLabel, Sheet, cup_labels, label_table, roll, ruler_page
from tests.printing import paper_reader as paper

COMMITMENT = "0123456789abcdef" * 4
ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567"
SQUARE = {name: sheet for name, sheet in SHEETS.items() if not sheet.round}


def token(number: int) -> str:
    scattered = (number * 0x9E3779B97F4A7C15 + 0x1234567) % 32**12
    return "".join(ALPHABET[scattered // 32**place % 32] for place in range(12))


def cups(count: int, per_place: int = 15) -> list[CupLabel]:
    return [
        CupLabel(
            str(111 + (n * 37) % 888),
            f"HTTP://192.168.1.20:8000/C/{token(n)}",
            n // per_place + 1,
            n % per_place + 1,
        )
        for n in range(count)
    ]


@pytest.mark.parametrize("name", SHEETS)
@pytest.mark.parametrize("seen", ["as printed", "blurred", "tilted", "at 60 %", "all at once"])
def test_every_symbol_of_a_sheet_scans_back(name: str, seen: str) -> None:
    labels = cups(SHEETS[name].per_page)
    image = paper.picture(cup_labels(labels, SHEETS[name]).pdf)
    change = {
        "as printed": lambda one: one,
        "blurred": paper.blurred,
        "tilted": paper.tilted,
        "at 60 %": paper.shrunk,
        "all at once": paper.maltreated,
    }[seen]
    assert paper.payloads(change(image)) == sorted(label.address for label in labels)


def test_symbols_are_level_q_and_no_larger_than_version_three_for_a_home_network() -> None:
    # ISO/IEC 18004: version 3 at level Q holds 47 alphanumeric characters
    longest = f"HTTP://192.168.100.100:8000/C/{token(1)}"
    found = paper.symbols_in(
        paper.picture(cup_labels([CupLabel("417", longest, 1, 1)], SHEETS["a4-3x7"]).pdf)
    )
    assert [(one.text, one.ec_level, one.extra["Version"]) for one in found] == [(longest, "Q", "3")]


@pytest.mark.parametrize("name", SHEETS)
def test_outlines_lie_where_the_sheet_has_its_labels(name: str) -> None:
    sheet = SHEETS[name]
    for pdf in (ruler_page(sheet).pdf, cup_labels(cups(sheet.per_page), sheet, outline=True).pdf):
        boxes = paper.outlines(pdf)
        for index in range(sheet.per_page):
            x, y = sheet.corner(index)
            wanted = (x, y, x + sheet.width, y + sheet.height)
            assert any(
                max(abs(a - b) for a, b in zip((o.left, o.top, o.right, o.bottom), wanted, strict=True))
                <= 0.02
                for o in boxes
            ), f"no outline at {wanted}"


@pytest.mark.parametrize("name", SHEETS)
def test_all_ink_of_a_label_stays_inside_its_cut(name: str) -> None:
    sheet = SHEETS[name]
    pdf = cup_labels(cups(sheet.per_page), sheet, cup_diameter_mm=70).pdf
    cuts = [(*sheet.corner(n), sheet) for n in range(sheet.per_page)]
    ink = [*paper.paths(pdf), *paper.texts(pdf)]
    assert len(ink) == 4 * sheet.per_page  # symbol, code, underline, small line
    for one in ink:
        homes = [(x, y) for x, y, _ in cuts if one.within(x, y, x + sheet.width, y + sheet.height)]
        assert len(homes) == 1, one
        if sheet.round:
            middle = (homes[0][0] + sheet.width / 2, homes[0][1] + sheet.height / 2)
            corners = [(a, b) for a in (one.left, one.right) for b in (one.top, one.bottom)]
            away = max(((a - middle[0]) ** 2 + (b - middle[1]) ** 2) ** 0.5 for a, b in corners)
            assert away <= sheet.width / 2


@pytest.mark.parametrize("name", SQUARE)
@pytest.mark.parametrize("dpi", [203, 300, 600])
def test_modules_are_whole_dots_of_at_least_half_a_millimetre(name: str, dpi: int) -> None:
    pdf = cup_labels(cups(1), SQUARE[name], dpi=dpi).pdf  # type: ignore[arg-type]
    symbol = max(paper.paths(pdf), key=lambda box: box.height)
    module = symbol.width / 29  # version 3
    dots = module * dpi / 25.4
    assert module >= 0.5
    assert dots == pytest.approx(round(dots), abs=0.01)
    assert symbol.left * dpi / 25.4 == pytest.approx(round(symbol.left * dpi / 25.4), abs=0.01)
    x, y = SQUARE[name].corner(0)
    quiet = 4 * module - 25.4 / dpi  # the whole dot nearest to the cut may lie beyond it
    sheet = SQUARE[name]
    assert symbol.within(x + quiet, y + quiet, x + sheet.width - quiet, y + sheet.height - quiet)


@pytest.mark.parametrize(("start", "pages"), [(1, 1), (2, 2), (15, 2), (21, 2)])
def test_a_part_used_sheet_is_filled_from_its_first_free_label(start: int, pages: int) -> None:
    sheet, labels = SHEETS["a4-3x7"], cups(21)
    printed = cup_labels(labels, sheet, start_at=start)
    assert printed.pages == len(paper.document(printed.pdf)) == pages
    first_page = paper.symbols_in(paper.picture(printed.pdf))
    assert sorted(one.text for one in first_page) == sorted(
        label.address for label in labels[: sheet.per_page - start + 1]
    )
    x, y = sheet.corner(start - 1)
    first = next(one for one in first_page if one.text == labels[0].address).position.top_left
    assert x < first.x * 25.4 / 200 < x + sheet.width
    assert y < first.y * 25.4 / 200 < y + sheet.height


def test_a_shift_moves_everything_by_just_so_much() -> None:
    at_home = cup_labels(cups(3), SHEETS["a4-3x7"]).pdf
    moved = cup_labels(cups(3), SHEETS["a4-3x7"], shift=(1.27, -2.54)).pdf  # whole dots: 15 and 30 of 300
    for before, after in zip(
        [*paper.paths(at_home), *paper.texts(at_home)],
        [*paper.paths(moved), *paper.texts(moved)],
        strict=True,
    ):
        assert after.left - before.left == pytest.approx(1.27, abs=0.01)
        assert after.top - before.top == pytest.approx(-2.54, abs=0.01)


def test_labels_come_in_the_order_given_and_every_code_can_be_read() -> None:
    labels = cups(500)
    printed = cup_labels(labels, SHEETS["a4-4x10"], footer_commitment=COMMITMENT)
    codes = [word for word in paper.words_of(printed.pdf) if len(word) == 3 and word.isdigit()]
    assert codes == [label.code for label in labels]
    assert printed.pages == 13
    assert paper.all_payloads(printed.pdf) == sorted(label.address for label in labels)
    assert paper.text_of(printed.pdf).count(f"seal {COMMITMENT[:16]}") == 13
    assert COMMITMENT[:17] not in paper.text_of(printed.pdf)


def test_a_rehearsal_says_so_on_every_label() -> None:
    text = paper.text_of(cup_labels(cups(10), SHEETS["roll-50x30"], rehearsal=True).pdf)
    assert text.count("REHEARSAL") == 10
    assert "REHEARSAL" not in paper.text_of(cup_labels(cups(10), SHEETS["roll-50x30"]).pdf)


@pytest.mark.parametrize(
    ("diameter", "warned"), [(45.0, True), (56.0, True), (57.0, False), (80.0, False), (None, False)]
)
def test_a_symbol_wider_than_a_third_of_the_cup_is_warned_of(diameter: float | None, warned: bool) -> None:
    # 37 modules with quiet zones, six dots of 1/300 in each: 18.8 mm, a third of 56.4 mm
    printed = cup_labels(cups(1), SHEETS["a4-3x7"], cup_diameter_mm=diameter)
    assert any("more than a third of a cup" in text for text in printed.warnings) is warned


def test_a_label_too_small_for_the_symbol_carries_the_code_alone_and_says_so() -> None:
    printed = cup_labels(cups(1), roll(40, 15))
    assert paper.all_payloads(printed.pdf) == []
    assert "111" in paper.words_of(printed.pdf)
    assert printed.warnings[0].startswith("The QR symbol needs 18.8 mm and does not fit")


def test_a_long_address_makes_a_larger_symbol_that_still_scans() -> None:
    address = f"https://panel.long-name-of-a-test-kitchen.example:8443/c/{token(5)}"
    printed = cup_labels([CupLabel("417", address, 1, 1)], SHEETS["a4-3x7"])
    assert paper.payloads(paper.maltreated(paper.picture(printed.pdf))) == [address]
    assert any("small letters" in text for text in printed.warnings)


@pytest.mark.parametrize(
    ("labels", "sheet", "start", "words"),
    [
        ([], SHEETS["a4-3x7"], 1, "no labels"),
        (cups(1), SHEETS["a4-3x7"], 22, "between 1 and 21; got 22"),
        (cups(1), SHEETS["a4-3x7"], 0, "between 1 and 21; got 0"),
        (cups(1), roll(8, 5), 1, "too small"),
        ([replace(cups(1)[0], code="4A7")], SHEETS["a4-3x7"], 1, "two to five digits; got '4A7'"),
        ([replace(cups(1)[0], address="HTTP://A B")], SHEETS["a4-3x7"], 1, "without blanks"),
    ],
    ids=["no labels", "start beyond", "start zero", "tiny label", "letters in code", "blank in address"],
)
def test_what_cannot_be_printed_is_refused_in_words(
    labels: list[CupLabel], sheet: Sheet, start: int, words: str
) -> None:
    with pytest.raises(ValueError, match=words):
        cup_labels(labels, sheet, start_at=start)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"width": 0}, "the label's width must be more than 0; it is 0"),
        ({"width": float("nan")}, "the label's width must be more than 0"),
        ({"left": -1}, "the left margin cannot be negative"),
        ({"pitch_across": 60}, "lie on each other: the step across is 60 mm, but a label is 63.5 mm"),
        ({"across": 4}, "beyond the right edge"),
        ({"top": 40}, "24.7 mm|beyond the lower edge"),
    ],
    ids=["width", "not a number", "margin", "overlap", "too many across", "top margin"],
)
def test_a_sheet_whose_numbers_do_not_fit_is_refused_in_words(change: dict[str, float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        replace(SHEETS["a4-3x7"], **change)  # type: ignore[arg-type]


def test_a_custom_sheet_is_printed_by_its_nine_numbers() -> None:
    sheet = Sheet("mine", 210, 297, 20, 12, 62, 45, 58, 40, 3, 6)
    labels = cups(18)
    assert paper.all_payloads(cup_labels(labels, sheet).pdf) == sorted(label.address for label in labels)


def test_the_ruler_is_as_long_as_it_says() -> None:
    pdf = ruler_page(SHEETS["a4-3x7"]).pdf
    assert "150 mm long" in paper.text_of(pdf)
    assert any(box.height == 0 and abs(box.width - 150) < 0.1 for box in paper.outlines(pdf))


def test_the_table_of_labels_holds_every_label_in_order() -> None:
    labels = cups(3)
    assert label_table(labels).splitlines() == [
        "code,address,place,position",
        *(f"{one.code},{one.address},{one.place},{one.position}" for one in labels),
    ]
