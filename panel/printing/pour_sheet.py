"""The kitchen's sheet: pour letters to cups, how much to make of each, when, and what to hold equal."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from reportlab.platypus import Flowable

from panel.printing import lettering
from panel.printing.batch_schedule import BatchSchedule
from panel.printing.code_rows import code_rows
from panel.printing.document import Marks, TickBox, gap, heading, paragraph, render, signature_line, table
from panel.printing.page import PrintedSheet

# Burn times: Moritz and Henriques (1947) as burn-prevention sheets quote them; above 65 °C: IARC Monograph 116.
# Holding: FDA Food Code (57 °C), New York City Health Code 81 (60 °C, four hours), UK guidance (63 °C).
KITCHEN_CAUTIONS: dict[str, str] = {
    "hot": (
        "Scalds: liquid at 60 °C burns skin deeply in 3 to 5 seconds, at 65 °C in about 2. Let cups cool before "
        "they leave the kitchen; serve no drink above 65 °C."
    ),
    "warm-held": (
        "Hot holding: local codes ask for at least 57, 60 or 63 °C, some with a limit of time. They differ: "
        "your local food rules decide, not this sheet. Write down time and temperature."
    ),
    "raw": "Raw or lightly cooked food: keep it cold by the local food rules until it is served.",
}
LOCAL_RULES = "Local food-safety rules and licensed practice come before anything printed here."


@dataclass(frozen=True, slots=True)
class PourCup:
    """One cup as the kitchen sees it; position : in the serving order of its place, from 1."""

    code: str
    place: int
    position: int
    pour_letter: str
    condition: str = ""


@dataclass(frozen=True, slots=True)
class Control:
    """One thing to hold equal for all samples, and its agreed value ("" leaves a line to write on)."""

    what: str
    value: str = ""


CONTROLS = (
    Control("Water: same source and amount"),
    Control("Dose: weighed, same for all"),
    Control("Temperature when served"),
    Control("Vessel: same cup, same fill, same lid"),
    Control("Time from ready to served"),
)


@dataclass(frozen=True, slots=True)
class Preparation:
    """How much goes into a cup and out of a batch.

    per_cup : in `unit`, or None when unknown; spare_cups : extra for each sample
    loss : share of what is made that never reaches a cup, 0 to below 1
    per_batch : what one batch makes, in `unit`, or None
    """

    per_cup: float | None = None
    unit: str = "ml"
    spare_cups: int = 0
    loss: float = 0.0
    per_batch: float | None = None

    def __post_init__(self) -> None:
        for field in ("per_cup", "per_batch"):
            value = getattr(self, field)
            if value is not None and not value > 0:
                raise ValueError(f"{field} must be more than 0 {self.unit}; got {value:g}")
        if not 0 <= self.loss < 1:
            raise ValueError(f"loss must be a share from 0 to below 1; got {self.loss:g}")
        if self.spare_cups < 0:
            raise ValueError(f"spare_cups cannot be negative; got {self.spare_cups}")


@dataclass(frozen=True, slots=True)
class PourSheet:
    """Everything the kitchen needs; no name of any product.

    commitment : of the seal, its first 16 characters are printed; cups : all that will be served
    conditions : in serving order; cautions : keys of KITCHEN_CAUTIONS, others are passed over
    two_person : one pours and codes, another serves from `serving_sheet` without the letters
    """

    heading: str
    commitment: str
    cups: tuple[PourCup, ...]
    conditions: tuple[str, ...] = ()
    preparation: Preparation = Preparation()
    controls: tuple[Control, ...] = CONTROLS
    cautions: tuple[str, ...] = ()
    serving_note: str = ""
    schedule: BatchSchedule | None = None
    two_person: bool = False


@dataclass(frozen=True, slots=True)
class Amount:
    """What one pour letter needs: cups with the spare ones, total in the unit, batches (None when unknown)."""

    pour_letter: str
    cups: int
    spare: int
    total: float | None
    batches: int | None


def amounts(sheet: PourSheet) -> tuple[Amount, ...]:
    """Cups and quantities by pour letter: (cups + spare) × per cup ÷ (1 − loss), batches rounded up."""
    asked = sheet.preparation
    found = []
    for letter, cups in sorted(Counter(cup.pour_letter for cup in sheet.cups).items()):
        total = None
        if asked.per_cup is not None:
            total = (cups + asked.spare_cups) * asked.per_cup / (1 - asked.loss)
        batches = None
        if total is not None and asked.per_batch is not None:
            batches = math.ceil(total / asked.per_batch - 1e-9)
        found.append(Amount(letter, cups, asked.spare_cups, total, batches))
    return tuple(found)


def pour_sheet(sheet: PourSheet, *, rehearsal: bool = False, paper: str = "A4") -> PrintedSheet:
    """Pour letters to cups: amounts, controls, schedule, then by letter and by place. KITCHEN ONLY.

    Warnings: the schedule's conflicts and what the paper cannot show as typed. Raises ValueError for no cups.
    """
    if not sheet.cups:
        raise ValueError("There are no cups on this pour sheet.")

    def story(wide: float) -> list[Flowable]:
        by_place = [] if sheet.two_person else _by_place(sheet.cups, wide, letters=True)
        return [
            *_opening(sheet, wide),
            *_amounts_table(sheet, wide),
            *_controls(sheet, wide),
            *_schedule(sheet.schedule, wide),
            *_by_letter(sheet, wide),
            *by_place,
        ]

    marks = Marks("Pour sheet", sheet.commitment, kitchen_only=True, rehearsal=rehearsal)
    texts = [sheet.heading, sheet.serving_note, *sheet.conditions]
    texts += [text for control in sheet.controls for text in (control.what, control.value)]
    conflicts = sheet.schedule.conflicts if sheet.schedule else ()
    return render(story, marks, paper=paper, warnings=(*conflicts, *lettering.doubts(texts)))


def serving_sheet(sheet: PourSheet, *, rehearsal: bool = False, paper: str = "A4") -> PrintedSheet:
    """Cups by place in serving order, codes alone: for whoever serves and must not know the letters."""
    if not sheet.cups:
        raise ValueError("There are no cups on this serving sheet.")

    def story(wide: float) -> list[Flowable]:
        return [heading(sheet.heading, 15), *_by_place(sheet.cups, wide, letters=False)]

    marks = Marks("Serving sheet", sheet.commitment, rehearsal=rehearsal)
    return render(story, marks, paper=paper, warnings=lettering.doubts([sheet.heading, *sheet.conditions]))


def _opening(sheet: PourSheet, wide: float) -> list[Flowable]:
    places = len({cup.place for cup in sheet.cups})
    letters = len({cup.pour_letter for cup in sheet.cups})
    serving = "; then ".join(sheet.conditions)
    facts = f"{len(sheet.cups)} cups for {places} places, {letters} pour letters."
    who = (
        "One person pours and codes by this sheet; another serves by the serving sheet and never sees this one."
        if sheet.two_person
        else "Whoever pours by this sheet should not serve: a second person carries the trays."
    )
    lines = [facts, f"Served: {serving}." if serving else "", sheet.serving_note, who]
    cautions = [text for key, text in KITCHEN_CAUTIONS.items() if key in sheet.cautions]
    return [
        heading(sheet.heading, 15),
        *(paragraph(line) for line in lines if line),
        *(paragraph(text, 9.5, bold=True) for text in cautions),
        paragraph(LOCAL_RULES, after=3),
    ]


def _amounts_table(sheet: PourSheet, wide: float) -> list[Flowable]:
    asked = sheet.preparation
    rows: list[list[Any]] = [["Letter", "Cups", "Spare", "Per cup", "Make in total", "Batches", "Done"]]
    for amount in amounts(sheet):
        rows.append(
            [
                paragraph(amount.pour_letter, 14, bold=True, after=0),
                str(amount.cups),
                str(amount.spare),
                _quantity(asked.per_cup, asked.unit),
                _quantity(amount.total, asked.unit),
                "as needed" if amount.batches is None else str(amount.batches),
                TickBox(),
            ]
        )
    share = wide / 10
    widths = [share * 1.2, share * 1.2, share * 1.2, share * 1.6, share * 2.2, share * 1.6, share]
    loss = f" Losses of {asked.loss:.0%} are included." if asked.loss and asked.per_cup is not None else ""
    return [
        heading("How much to make"),
        paragraph(f"The same amount in every cup.{loss}"),
        table(rows, widths),
        gap(5),
    ]


def _quantity(value: float | None, unit: str) -> str:
    if value is None:
        return "as agreed"
    rounded = math.ceil(value - 1e-9) if value >= 100 else math.ceil(value * 10 - 1e-9) / 10
    return f"{rounded:g} {unit}"


def _controls(sheet: PourSheet, wide: float) -> list[Flowable]:
    rows: list[list[Any]] = [["", "Hold equal for all samples", "Agreed value", "Measured"]]
    rows += [[TickBox(), control.what, control.value, ""] for control in sheet.controls]
    return [
        heading("Before pouring"),
        table(rows, [9, (wide - 9) * 0.44, (wide - 9) * 0.28, (wide - 9) * 0.28]),
        gap(3),
        signature_line(("Prepared by", "Date and time", "Checked by"), wide),
        gap(5),
    ]


def _schedule(schedule: BatchSchedule | None, wide: float) -> list[Flowable]:
    if schedule is None:
        return []
    rows: list[list[Any]] = [["Start", "Letter", "Batch", "Ready", "Serve from", "to", "Cups", "Appliance"]]
    for batch in schedule.batches:
        clash = f"busy {batch.clash:.0f} min too long" if batch.clash else "free in time"
        times = [schedule.at(one) for one in (batch.ready, batch.first_serving, batch.last_serving)]
        start = paragraph(schedule.at(batch.start), 11, bold=True, after=0)
        letter = paragraph(batch.pour_letter, 11, bold=True, after=0)
        rows.append([start, letter, str(batch.number), *times, str(batch.cups), clash])
    unit = wide / 17
    more = len(schedule.conflicts) - 3
    kitchen = schedule.kitchen
    rule = (
        f"Each batch takes {kitchen.preparation:g} min and yields {kitchen.cups_per_batch} cups. "
        f"A cup is served {kitchen.rest:g} to {kitchen.holding:g} min after its batch is ready, "
        "the same for all samples, so that all are at one temperature."
    )
    return [
        heading("Batch schedule"),
        paragraph(rule),
        *(paragraph(f"Conflict: {text}", bold=True) for text in schedule.conflicts[:3]),
        *([paragraph(f"{more} more in the table.", bold=True)] if more > 0 else []),
        table(rows, [unit * one for one in (2.2, 1.5, 1.4, 2.2, 2.4, 2.2, 1.4, 3.7)]),
        gap(5),
    ]


def _by_letter(sheet: PourSheet, wide: float) -> list[Flowable]:
    """All cups of one letter and condition, so that they can be poured in one go."""
    known = {name: index for index, name in enumerate(sheet.conditions)}
    groups: dict[tuple[str, int, str], list[PourCup]] = {}
    for cup in sorted(sheet.cups, key=lambda one: (one.place, one.position)):
        key = (cup.pour_letter, known.get(cup.condition, len(known)), cup.condition)
        groups.setdefault(key, []).append(cup)
    story: list[Flowable] = [heading("By pour letter: pour all cups of one letter in one go", 12)]
    for (letter, _, condition), cups in sorted(groups.items()):
        count = f"{len(cups)} cup" if len(cups) == 1 else f"{len(cups)} cups"
        story.append(gap(2))
        story.append(heading(" · ".join(part for part in (letter, condition, count) if part), 16))
        story += code_rows(
            (letter, condition), [(cup.code, f"place {cup.place} · cup {cup.position}") for cup in cups], wide
        )
    return story


def _by_place(cups: Sequence[PourCup], wide: float, *, letters: bool) -> list[Flowable]:
    places: dict[int, list[PourCup]] = {}
    for cup in sorted(cups, key=lambda one: (one.place, one.position)):
        places.setdefault(cup.place, []).append(cup)
    story: list[Flowable] = [gap(4), heading("By place: cups in serving order, left to right", 12)]
    for place, tray in places.items():
        story.append(gap(1.5))
        cells = []
        for cup in tray:
            words = [f"{cup.position}.", cup.pour_letter if letters else "", cup.condition]
            cells.append((cup.code, " ".join(word for word in words if word)))
        story += code_rows((f"place {place}", ""), cells, wide)
    return story
