"""The parts of a study's report beside its results: who is counted, what went otherwise, the seal."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

from panel.analysis.numbers import ABSENT
from panel.analysis.reworded import words_section
from panel.analysis.view_parts import Column, Section, Table
from panel.study.scales import scale_of
from panel.study.test_methods import method_of
from stats.phrasing import count, listing

if TYPE_CHECKING:
    from collections.abc import Mapping

    from panel.study.happenings import Happening, SealTerms
    from panel.study.plan import Kitchen, Plan, Product

# Answers that stand outside a finding although nothing was wrong are no deviation.
PRINTED_AGAIN = "Printed more than once"
PLANNED = ("Corrections by tasters", "Looks at the sequential plan")


@dataclass(frozen=True, slots=True)
class Took:
    """One taster who took a place. excluded: the reason where they are left out, else ""."""

    attempt_id: str
    taster: str
    answered: int
    screens: int
    excluded: str


@dataclass(frozen=True, slots=True)
class Comments:
    """What tasters wrote about one sample, by question."""

    sample: str
    texts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class StudyRecord:
    """What the study's log and tables say beside the answers.

    late : answers after closing, not counted; corrections : screens that tasters answered anew, as the plan allows
    batches : fewest and most preparations of one sample
    looks : how often names were seen before the reveal; terms : of the seal, None for a draft
    all_counted : what the test says with everybody and every answer counted; "" where nothing was left out
    fingerprints : what is fixed, and its hash; days : of tasting, as written for the reader
    products : label and product after the reveal, empty before; revealed : when, "" before
    stated : what people typed for the standard's list
    """

    plan: Plan
    tasters: tuple[Took, ...]
    comments: tuple[Comments, ...]
    late: int
    corrections: int
    batches: tuple[int, int]
    happened: tuple[Happening, ...]
    looks: int
    terms: SealTerms | None
    all_counted: str
    fingerprints: tuple[tuple[str, str], ...]
    days: str
    products: tuple[tuple[str, Product], ...]
    revealed: str
    stated: Mapping[str, str]


def parts_before_the_method(record: StudyRecord) -> tuple[Section, ...]:
    """Who is counted, what they read and wrote, and what went otherwise than planned."""
    remarks = comments_section(record.comments)
    return (who_counts(record), *words_section(record.plan), *remarks, deviations_section(record))


def who_counts(record: StudyRecord) -> Section:
    """Who took part, whose answers count, and what the result would be if everything counted."""
    took = record.tasters
    out = [one for one in took if one.excluded]
    short = [one for one in took if one.answered < one.screens and not one.excluded]
    said = [
        f"{count(len(took), 'taster')} took part, of {count(record.plan.tasters, 'place')} that were planned; "
        f"{len(took) - len(out) - len(short)} answered every screen and {_counts(len(took) - len(out) - len(short))}."
    ]
    if short:
        said.append(f"{count(len(short), 'taster')} answered some screens only; what they answered counts.")
    if out:
        reasons = [f"{one.taster} ({one.excluded})" for one in out]
        said.append(f"Left out, decided by blind label before signing: {listing(reasons)}.")
    if record.late:
        said.append(f"{count(record.late, 'answer')} came after closing and {_is(record.late)} not counted.")
    if record.corrections:
        said.append(
            f"Tasters corrected {count(record.corrections, 'answered screen')} before closing, as the plan allows; "
            "of each screen the last version counts."
        )
    if record.all_counted:
        said.append(f"With everybody and every answer counted: {record.all_counted}")
    said.append(_batches(*record.batches))
    rows = tuple(
        (
            one.taster,
            f"{one.answered} of {one.screens}",
            f"left out: {one.excluded}" if one.excluded else "yes",
        )
        for one in took
    )
    columns = (Column("Taster", numeric=False), Column("Answered"), Column("Counted", numeric=False))
    table = Table("Tasters by number", columns, rows, detail=True)
    gist = f"{len(took) - len(out)} of {count(len(took), 'taster')} counted"
    return Section("counted", "Data and who took part", tuple(said), tables=(table,), gist=gist)


def _is(number: int) -> str:
    return "is" if number == 1 else "are"


def _counts(number: int) -> str:
    return "counts" if number == 1 else "count"


def _batches(fewest: int, most: int) -> str:
    if most <= 1:
        return (
            "Each sample was one preparation, as far as the kitchen noted: the result speaks of these batches, and of "
            "the products only if other batches are like them."
        )
    each = f"{most}" if fewest == most else f"{fewest} to {most}"
    return f"Each sample was prepared {each} times; batches are not kept apart in the analysis."


def comments_section(comments: tuple[Comments, ...]) -> tuple[Section, ...]:
    """What tasters wrote; nothing where nobody did."""
    if not comments:
        return ()
    rows = tuple(
        (group.sample, text, str(times))
        for group in comments
        for text, times in Counter(group.texts).most_common()
    )
    columns = (Column("About", numeric=False), Column("Words", numeric=False), Column("Times"))
    table = Table("What tasters wrote, word for word", columns, rows)
    gist = count(sum(len(group.texts) for group in comments), "remark")
    return (Section("comments", "In the tasters’ words", tables=(table,), gist=gist),)


def deviations_section(record: StudyRecord) -> Section:
    """Looks at names, amendments and everything else that the log holds beside the plan."""
    times = {0: "never", 1: "once"}.get(record.looks, f"{record.looks} times")
    said = [f"Names were seen {times} between seal and reveal through this program."]
    tables = tuple(_happened(kind) for kind in record.happened)
    odd = sum(kind.count for kind in record.happened if kind.title not in PLANNED)
    if not odd:
        said.append("Nothing went otherwise than planned, as far as the log knows.")
    gist = count(odd, "entry", "entries") if odd else "none recorded"
    return Section("deviations", "Amendments and deviations", tuple(said), tables=tables, gist=gist)


def _happened(kind: Happening) -> Table:
    """The lines of one kind, the moment (or what was printed) in a column of its own."""
    split = [line.partition(": ") for line in kind.lines]
    heads = ("What", "How often") if kind.title == PRINTED_AGAIN else ("When", "What")
    columns = tuple(Column(head, numeric=False) for head in heads)
    return Table(f"{kind.title} ({kind.count})", columns, tuple((first, last) for first, _, last in split))


def seal_section(record: StudyRecord) -> Section:
    """What was fixed when, what that proves, and the hashes to hold it against."""
    said = (record.terms.in_words,) if record.terms is not None else ()
    table = Table(
        caption="Fingerprints (SHA-256)",
        columns=(Column("Of", numeric=False), Column("Fingerprint", numeric=False)),
        rows=record.fingerprints,
    )
    tables = (table,) if record.fingerprints else ()
    gist = record.terms.holder if record.terms is not None else ""
    return Section("seal", "Seal", said, tables=tables, gist=gist)


def stated_by_the_study(record: StudyRecord) -> dict[str, str]:
    """What plan, log and key state of a standard's list; what people typed goes before it."""
    plan = record.plan
    out = sum(bool(one.excluded) for one in record.tasters)
    known = {
        "objective": plan.question,
        "number of samples": f"{plan.samples}{', one of them the reference' if plan.with_reference else ''}",
        "serving": _serving(plan.kitchen, plan),
        "instructions": _instructions(plan),
        "questionnaire": "; ".join(f"“{q.text}” ({scale_of(q.scale).name})" for q in plan.questions),
        "design": _design(plan),
        "attendance": (
            f"{count(plan.tasters, 'place')}, {len(record.tasters)} taken, {out} left out, "
            f"{count(record.late, 'late answer')}"
        ),
        "date": record.days,
        "deviations": "; ".join(f"{kind.title.lower()}: {kind.count}" for kind in record.happened)
        or "none recorded",
        "disclosure": f"revealed in this report, {record.revealed}"
        if record.revealed
        else "not disclosed yet",
        "samples": "; ".join(_product(label, product) for label, product in record.products),
    }
    return {**known, **record.stated}


def _product(label: str, product: Product) -> str:
    told = [product.maker, f"lot {product.lot}" if product.lot else "", product.note]
    more = ", ".join(text for text in told if text)
    return f"{product.name} ({label}){f': {more}' if more else ''}"


def _serving(kitchen: Kitchen, plan: Plan) -> str:
    told = [
        f"{kitchen.per_cup:g} {kitchen.unit} a cup" if kitchen.per_cup is not None else "",
        f"at {kitchen.temperature:g} °C" if kitchen.temperature is not None else "",
        f"within {kitchen.holding:g} minutes" if kitchen.holding is not None else "",
        f"cups of {kitchen.cup_diameter:g} mm" if kitchen.cup_diameter is not None else "",
        plan.serving_note,
        f"held equal: {listing(list(kitchen.controls))}" if kitchen.controls else "",
        f"to rinse: {plan.rinse}" if plan.rinse else "",
    ]
    return "; ".join(text for text in told if text)


def _instructions(plan: Plan) -> str:
    wording = method_of(plan.method).wording
    asked = f"“{wording.question(plan.attribute)}”" if wording is not None else ""
    return " ".join(text for text in (plan.briefing, asked) if text)


def _design(plan: Plan) -> str:
    method = method_of(plan.method)
    each = plan.layout.per_taster
    told = [
        f"{count(plan.tasters, 'place')}, orders balanced and drawn by the sealed seed",
        f"{each} of {plan.samples} samples for each taster" if each else "",
        f"{method.set_size} cups at a time" if method.set_size > 1 else "one cup after another",
        f"{plan.replicates} times each" if plan.replicates > 1 else "",
        f"conditions: {listing(list(plan.conditions))}" if len(plan.conditions) > 1 else "",
        f"{plan.layout.sittings} sittings" if plan.layout.sittings > 1 else "",
        "a warm-up first, not scored" if plan.layout.warm_up else "",
    ]
    return "; ".join(text for text in told if text) or ABSENT
