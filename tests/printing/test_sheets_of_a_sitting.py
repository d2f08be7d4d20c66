"""Every other print: what it says, what it must not say, and that its file gives nothing away."""

import re
from collections.abc import Callable
from dataclasses import replace
from itertools import combinations, pairwise

import pypdfium2.raw as pdfium
import pytest

from panel.printing import (
    SHEETS,
    BallotTask,
    CupLabel,
    Due,
    FillEntry,
    JoinCard,
    Kitchen,
    PaperBallot,
    PourCup,
    PourSheet,
    Preparation,
    PrintedSheet,
    TrayCup,
    TrayMap,
    amounts,
    batch_schedule,
    closing_sheet,
    cup_labels,
    fill_sheet,
    join_cards,
    paper_ballots,
    pour_sheet,
    recovery_sheet,
    ruler_page,
    serving_sheet,
    sitting_poster,
    tray_maps,
)
from panel.study.plan import Plan, Question
from tests.printing import paper_reader as paper

COMMITMENT = "0123456789abcdef" * 4
HEADING = "Plain rice, five ways"
NAMES = ("Zweifarbtopf Kornelia", "Mistral Grain 3", "Ρύζι Ένα", "Рисоварка «Заря»", "Ördög Őrült Főző")
RECOVERY = "ABCDE-FGHJK-MNPQR-STVWX-YZ234-56789"
JOIN = "HTTP://192.168.100.100:8000/J/ABCDEFGHIJKLMNOPQRSTUVWX{:02d}"
PLAN = Plan(
    "internal title",
    HEADING,
    "q",
    "rating",
    2,
    3,
    questions=(
        Question("liking", "How much do you like it?", "hedonic-9"),
        Question("sticky", "How sticky is it?", "line-100", "loose grains", "one lump"),
        Question("again", "Would you eat it again?", "yes-no"),
        Question("words", "Anything to say?", "comment"),
    ),
    allergens=("fish", "soybeans"),
    cautions=("hot",),
)


def cups(
    places: int = 3, letters: str = "PRT", conditions: tuple[str, ...] = ("plain", "with dashi")
) -> PourSheet:
    made, code = [], 111
    for place in range(1, places + 1):
        position = 0
        for condition in conditions:
            for turn in range(len(letters)):
                position, code = position + 1, code + 1
                letter = letters[(turn + place) % len(letters)]
                made.append(PourCup(str(code), place, position, letter, condition))
    preparation = Preparation(per_cup=40, unit="g", spare_cups=2, loss=0.2, per_batch=200)
    return PourSheet(HEADING, COMMITMENT, tuple(made), conditions, preparation, cautions=("hot", "warm-held"))


def entries(names: tuple[str, ...] = NAMES) -> list[FillEntry]:
    return [FillEntry(name, "Maker & Söhne", f"L-{n}", "", "PRTVX"[n]) for n, name in enumerate(names)]


def labels() -> list[CupLabel]:
    return [CupLabel("417", "HTTP://192.168.1.20:8000/C/ABCDEFGH2345", 1, 1)]


def cards(count: int) -> list[JoinCard]:
    return [
        JoinCard(n, JOIN.format(n), "http://192.168.100.100:8000", f"K7QX-{n:04d}")
        for n in range(1, count + 1)
    ]


def ballots(plan: Plan = PLAN) -> list[PaperBallot]:
    tasks = tuple(BallotTask((code,), "plain", questions=plan.questions) for code in ("417", "562"))
    return [PaperBallot(place, tasks, f"K7QX-{place}") for place in (1, 2)]


def trays() -> list[TrayMap]:
    return [TrayMap(7, tuple(TrayCup(str(200 + n), n) for n in range(1, 6)))]


PRINTS: dict[str, Callable[[], PrintedSheet]] = {
    "cup labels": lambda: cup_labels(labels(), SHEETS["a4-3x7"], footer_commitment=COMMITMENT),
    "fill sheet": lambda: fill_sheet(HEADING, entries(), COMMITMENT),
    "pour sheet": lambda: pour_sheet(cups()),
    "serving sheet": lambda: serving_sheet(cups()),
    "ruler page": lambda: ruler_page(SHEETS["a4-3x7"]),
    "tray maps": lambda: tray_maps(trays()),
    "join cards": lambda: join_cards(cards(9)),
    "sitting poster": lambda: sitting_poster(
        HEADING, JOIN.format(1), "http://192.168.1.20:8000", network="Guest"
    ),
    "recovery sheet": lambda: recovery_sheet(RECOVERY, heading_text=HEADING, commitment=COMMITMENT),
    "closing sheet": lambda: closing_sheet(HEADING, "ab12" * 16, COMMITMENT, events=41, facts=("3 places.",)),
    "paper ballot": lambda: paper_ballots(PLAN, ballots(), commitment=COMMITMENT),
}


@pytest.mark.parametrize("name", PRINTS)
def test_the_file_says_its_kind_and_nothing_else(name: str) -> None:
    printed = PRINTS[name]()
    found = paper.document(printed.pdf)
    metadata = found.get_metadata_dict()
    assert metadata.pop("Title").lower() == name
    assert {metadata.pop("CreationDate"), metadata.pop("ModDate")} == {"D:20000101000000+00'00'"}
    assert set(metadata.values()) == {""}
    assert list(found.get_toc()) == []
    assert len(found) == printed.pages > 0
    readable = printed.pdf.decode("latin-1")
    assert not any(text in readable for text in (HEADING, *NAMES[:2], "anonymous", "untitled"))


@pytest.mark.parametrize("name", PRINTS)
def test_the_same_input_gives_the_same_bytes(name: str) -> None:
    assert PRINTS[name]().pdf == PRINTS[name]().pdf


@pytest.mark.parametrize("name", PRINTS)
def test_all_fonts_are_embedded(name: str) -> None:
    readable = PRINTS[name]().pdf.decode("latin-1")
    fonts = set(re.findall(r"/BaseFont /(\S+)", readable))
    assert fonts
    assert all(re.fullmatch(r"[A-Z]{6}\+DejaVuSans(-Bold)?", font) for font in fonts), fonts
    assert readable.count("/FontFile2") == len(fonts)


@pytest.mark.parametrize("name", PRINTS)
def test_nothing_is_drawn_beyond_the_paper_and_all_is_black_white_or_grey(name: str) -> None:
    printed = PRINTS[name]()
    for number in range(printed.pages):
        page = paper.document(printed.pdf)[number]
        wide, high = page.get_width() * paper.MM, page.get_height() * paper.MM
        for kind in (pdfium.FPDF_PAGEOBJ_PATH, pdfium.FPDF_PAGEOBJ_TEXT):
            assert all(box.within(0, 0, wide, high, 0.2) for box in paper.drawn(printed.pdf, kind, number))
        channels = page.render(scale=1).to_pil().convert("RGB").split()
        assert channels[0].tobytes() == channels[1].tobytes() == channels[2].tobytes()


@pytest.mark.parametrize("name", PRINTS)
def test_names_stand_on_the_fill_sheet_alone(name: str) -> None:
    text = paper.text_of(PRINTS[name]().pdf)
    assert [product in text for product in NAMES] == [name == "fill sheet"] * len(NAMES)


@pytest.mark.parametrize("name", PRINTS)
def test_what_must_stay_in_the_kitchen_says_so_on_every_page(name: str) -> None:
    printed = PRINTS[name]()
    marked = name in ("fill sheet", "pour sheet")
    assert paper.text_of(printed.pdf).count("KITCHEN ONLY") == (printed.pages if marked else 0)


def test_the_fill_sheet_puts_each_letter_on_the_line_of_its_name() -> None:
    text = paper.text_of(fill_sheet(HEADING, entries()[::-1], COMMITMENT).pdf)
    assert re.findall(r"^([PRTVX])\b", text, re.MULTILINE) == list("PRTVX")
    order = [text.index(name) for name in NAMES]
    assert order == sorted(order)
    assert f"seal {COMMITMENT[:16]}" in text
    assert COMMITMENT[:17] not in text


@pytest.mark.parametrize(
    "long", ["word " * 60, "W" * 300, "Süßreis-" * 40], ids=["words", "one word", "hyphens"]
)
def test_long_names_wrap_inside_their_column(long: str) -> None:
    sample = [
        FillEntry(long.strip(), long[:120], long[:80], long[:200], "P"),
        FillEntry("b", "", "", "", "R"),
    ]
    pdf = fill_sheet(long[:80], sample, COMMITMENT).pdf
    between = r"[\s\ufffe-]"  # blanks, line ends and the reader's mark for a hyphen at one
    assert re.sub(between, "", long) in re.sub(between, "", paper.text_of(pdf))
    for page in range(len(paper.document(pdf))):
        boxes = paper.texts(pdf, page)
        assert all(box.within(14.9, 0, 195.1, 297) for box in boxes)
        for one, other in combinations(boxes, 2):
            across = min(one.right, other.right) - max(one.left, other.left)
            down = min(one.bottom, other.bottom) - max(one.top, other.top)
            assert across < 0.2 or down < 0.2, (one, other)


def test_forty_samples_fill_pages_with_the_heading_row_repeated() -> None:
    many = [FillEntry(f"Cooker number {n}", "", "", "", f"P{n}") for n in range(40)]
    printed = fill_sheet(HEADING, many, COMMITMENT)
    text = paper.text_of(printed.pdf)
    assert all(f"Cooker number {n}" in text for n in range(40))
    assert printed.pages > 1
    assert text.count("Letter Sample Lot Note Filled") + text.count("Letter\nSample") == printed.pages


def test_what_the_fonts_cannot_draw_is_told_in_words() -> None:
    odd = [
        FillEntry("ごはん", "", "", "", "P"),
        FillEntry("ข้าว", "", "", "", "R"),
        FillEntry("مطبخ", "", "", "", "T"),
    ]
    warnings = fill_sheet(HEADING, odd, COMMITMENT).warnings
    assert [text.split("”")[0] for text in warnings] == ["“ごはん", "“ข้าว", "“مطبخ"]
    assert "font of the machine that prints it" in warnings[0]
    assert "an empty box stands for each" in warnings[1]
    assert "from right to left" in warnings[2]
    assert fill_sheet(HEADING, entries(), COMMITMENT).warnings == ()


@pytest.mark.parametrize(
    ("given", "words"), [([], "no samples"), ([entries()[0], entries()[0]], "letter of its own; got P, P")]
)
def test_a_fill_sheet_that_would_mislead_is_refused(given: list[FillEntry], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        fill_sheet(HEADING, given, COMMITMENT)


def test_amounts_count_cups_spares_losses_and_batches() -> None:
    # by hand: 6 cups and 2 spare of 40 g are 320 g; with a fifth lost 400 g, two batches of 200 g
    assert [(a.pour_letter, a.cups, a.spare, a.total, a.batches) for a in amounts(cups())] == [
        (letter, 6, 2, 400.0, 2) for letter in "PRT"
    ]


def test_the_pour_sheet_tells_every_cup_twice_by_letter_and_by_place() -> None:
    sheet = cups()
    text = paper.text_of(pour_sheet(sheet).pdf)
    by_letter, by_place = text.split("By place:")
    seen = re.findall(
        r"^(\d{3})$|^(?:Place )?([PRT]) · ([a-z ]+) · \d+ cups", by_letter.split("By pour letter")[1], re.M
    )
    letter, condition, told = "", "", {}
    for code, new_letter, new_condition in seen:
        if code:
            told[code] = (letter, condition)
        else:
            letter, condition = new_letter, new_condition
    assert told == {cup.code: (cup.pour_letter, cup.condition) for cup in sheet.cups}
    served = re.findall(r"^(\d{3})$", by_place, re.M)
    assert served == [cup.code for cup in sheet.cups]
    assert "57, 60 or 63 °C" in text
    assert "65 °C" in text
    assert "local food rules decide" in text


def test_every_row_of_codes_says_its_letter_again_for_a_page_may_break_between_them() -> None:
    pdf = pour_sheet(cups(places=60, letters="PR", conditions=("plain",))).pdf
    by_letter = paper.text_of(pdf).split("By pour letter")[1].split("By place:")[0]
    # 60 cups, 7 a row
    assert [len(re.findall(rf"^{letter}\nplain$", by_letter, re.M)) for letter in "PR"] == [9, 9]


def test_with_two_persons_the_server_sees_codes_and_no_letters() -> None:
    sheet = replace(cups(letters="ΣΦΨ"), two_person=True)
    assert "By place" not in paper.text_of(pour_sheet(sheet).pdf)
    text = paper.text_of(serving_sheet(sheet).pdf)
    assert not set("ΣΦΨ") & set(text)
    assert re.findall(r"^(\d{3})$", text, re.M) == [cup.code for cup in sheet.cups]


def test_the_schedule_stands_on_the_pour_sheet_with_its_conflicts() -> None:
    dues = [Due("P", 0), Due("P", 40), Due("R", 0)]
    plan = batch_schedule(dues, Kitchen(preparation=45, holding=2, cups_per_batch=10), opening=14 * 60)
    printed = pour_sheet(replace(cups(), schedule=plan))
    text = paper.text_of(printed.pdf)
    assert printed.warnings == plan.conflicts
    assert len(plan.conflicts) == 1
    assert "Conflict: Batch 1 of P" in text
    assert "busy 3 min too long" in text
    assert "13:15" in text  # R is ready at the opening


def test_a_rehearsal_is_marked_on_every_page() -> None:
    for printed in (
        fill_sheet(HEADING, entries(), COMMITMENT, rehearsal=True),
        pour_sheet(cups(), rehearsal=True),
        paper_ballots(PLAN, ballots(), rehearsal=True),
        tray_maps(trays(), rehearsal=True),
        sitting_poster(HEADING, JOIN.format(1), "http://a", rehearsal=True),
    ):
        assert paper.text_of(printed.pdf).count("REHEARSAL") == printed.pages


@pytest.mark.parametrize("change", [paper.blurred, paper.tilted, paper.shrunk, paper.maltreated])
def test_join_cards_and_poster_scan_from_afar(change: Callable[..., object]) -> None:
    pdf = join_cards(cards(9)).pdf
    found = [text for page in (0, 1) for text in paper.payloads(change(paper.picture(pdf, page)))]
    assert sorted(found) == [JOIN.format(n) for n in range(1, 10)]
    poster = paper.picture(sitting_poster(HEADING, JOIN.format(1), "http://a", rehearsal=True).pdf)
    assert paper.payloads(change(poster)) == [JOIN.format(1)]


def test_a_join_card_can_be_typed_instead_and_its_symbol_is_version_four() -> None:
    # ISO/IEC 18004: version 4 at level Q holds 67 alphanumeric characters
    pdf = join_cards(cards(9)).pdf
    found = paper.symbols_in(paper.picture(pdf))
    assert {(one.extra["Version"], one.ec_level) for one in found} == {("4", "Q")}
    text = paper.text_of(pdf)
    assert [f"K7QX-{n:04d}" in text for n in range(1, 10)] == [True] * 9
    assert text.count("http://192.168.100.100:8000") == 9


@pytest.mark.parametrize("count", [1, 2, 5, 6, 15, 40])
def test_a_tray_map_shows_the_cups_in_serving_order_row_by_row(count: int) -> None:
    cups_of = tuple(TrayCup(str(100 + 7 * n), n, "with dashi") for n in range(count, 0, -1))
    printed = tray_maps([TrayMap(7, cups_of)], cup_diameter_mm=60)
    codes = [word for word in paper.words_of(printed.pdf) if len(word) == 3 and word.isdigit()]
    assert codes == [str(100 + 7 * n) for n in range(1, count + 1)]
    circles = [
        box for box in paper.outlines(printed.pdf) if abs(box.width - box.height) < 0.01 and box.width > 5
    ]
    assert len(circles) == count
    assert bool(printed.warnings) is (circles[0].width < 59.9)
    for one, other in pairwise(circles):
        assert other.left >= one.right or other.top >= one.bottom


def test_papers_of_the_seal_hold_their_fingerprints_in_full() -> None:
    closing = "".join(paper.words_of(closing_sheet(HEADING, "ab12" * 16, COMMITMENT, events=41).pdf))
    assert "ab12" * 16 in closing
    assert COMMITMENT in closing
    assert RECOVERY in paper.words_of(recovery_sheet(RECOVERY).pdf)
    with pytest.raises(ValueError, match="chain_head"):
        closing_sheet(HEADING, "", COMMITMENT)
    with pytest.raises(ValueError, match="code"):
        recovery_sheet(" ")


def test_a_paper_ballot_asks_what_the_phone_asks() -> None:
    printed = paper_ballots(PLAN, ballots())
    text = paper.text_of(printed.pdf)
    for words in (
        "How much do you like it?",
        "Like extremely",
        "Dislike extremely",
        "loose grains",
        "one lump",
    ):
        assert text.count(words) == 4  # two places, two cups
    assert "Contains or may contain: Fish; Soybeans." in text
    assert PLAN.title not in text
    assert [text.count(f"K7QX-{place}") for place in (1, 2)] == [1, 1]


def test_the_line_of_a_paper_ballot_is_a_hundred_millimetres() -> None:
    pdf = paper_ballots(PLAN, ballots()[:1]).pdf
    lines = [
        box
        for number in range(len(paper.document(pdf)))
        for box in paper.outlines(pdf, number)
        if box.height == 0 and 90 < box.width < 110
    ]
    assert [round(box.width, 2) for box in lines] == [100.0, 100.0]


def test_a_question_on_the_next_page_still_says_which_cup_it_is_about() -> None:
    many = tuple(Question(f"q{n}", f"Attribute {n}?", "hedonic-9") for n in range(9))
    plan = Plan("t", "h", "q", "rating", 2, 1, questions=many)
    text = paper.text_of(paper_ballots(plan, ballots(plan)[:1]).pdf)
    for code in ("417", "562"):
        assert [f"{code} · Attribute {n}?" in text for n in range(9)] == [True] * 9


def test_a_triangle_ballot_shows_three_codes_and_forces_a_choice() -> None:
    plan = Plan("t", HEADING, "q", "triangle", 2, 1)
    printed = paper_ballots(plan, [PaperBallot(1, (BallotTask(("417", "562", "839")),))])
    text = paper.text_of(printed.pdf)
    assert [word for word in text.split() if word.isdigit() and len(word) == 3] == ["417", "562", "839"]
    assert "if you are not sure, guess" in text
    assert "no difference" not in text.lower()


def test_fifteen_samples_for_fifty_tasters_are_printed_whole() -> None:
    sheet = cups(places=50, letters="ABCDEFGHJKLMNPQ", conditions=("plain",))
    text = paper.text_of(pour_sheet(sheet).pdf)
    codes = re.findall(r"^(\d{3})$", text, re.M)
    assert len(codes) == 2 * 750
    assert set(codes) == {cup.code for cup in sheet.cups}
