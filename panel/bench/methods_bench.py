"""How each thing was measured, in sentences from the entries of the bench: runs, instruments, what did not count."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from panel.study.quantities import QUANTITIES
from stats.phrasing import count, listing

if TYPE_CHECKING:
    from collections.abc import Sequence

    from panel.bench.figures import Run
    from panel.study.measuring import Bench, Measurand

LOADS = {"full": "at full load", "equal volume": "at equal volume", "single serving": "with a single serving"}


def measuring_sentences(bench: Bench, runs: Sequence[Run]) -> tuple[str, ...]:
    """What was measured and how; () where nothing was. One or two sentences to each measurand with entries."""
    said: list[str] = []
    for measurand in bench.measurands:
        entries = [run for run in runs if run.measurand == measurand.key]
        if entries:
            said += _measurand(measurand, entries)
    missing = [f"“{one.name}”" for one in bench.measurands if all(run.measurand != one.key for run in runs)]
    if said and missing:
        said.append(f"Planned and not measured: {listing(missing)}.")
    if said:
        people = {run.by for run in runs if run.by}
        who = f" by {count(len(people), 'person', 'people')}" if people else ""
        said.append(
            f"Measurements were entered{who} under the products' names, apart from the blind letters."
        )
    return tuple(said)


def _measurand(measurand: Measurand, entries: Sequence[Run]) -> list[str]:
    valid = [run for run in entries if not run.invalid]
    products = len({run.product for run in entries})
    each = Counter(run.product for run in valid)
    fewest, most = min((each[run.product] for run in entries), default=0), max(each.values(), default=0)
    rated = QUANTITIES[measurand.quantity].after_tasting
    word = ("rating", "ratings") if rated else ("valid run", "valid runs")
    span = count(most, *word) if fewest == most else f"{fewest} to {most} {word[1]}"
    asked = "" if fewest >= measurand.runs else f" ({measurand.runs} were asked for)"
    said = [
        f"“{measurand.name}” ({_how(measurand)}) was {'rated' if rated else 'measured'} for "
        f"{count(products, 'product')} with {span} each{asked}{_instruments(measurand, valid)}."
    ]
    invalid = [run for run in entries if run.invalid]
    if invalid:
        reasons = Counter(run.invalid.rstrip(".") for run in invalid)
        why = "; ".join(
            f"{reason} ({number})" if number > 1 else reason for reason, number in reasons.items()
        )
        said.append(f"{count(len(invalid), 'run')} of it did not count: {why}.")
    return said


def _how(measurand: Measurand) -> str:
    """Kind, unit, load and condition of a measurand."""
    unit = f", in {measurand.unit}" if measurand.unit else ""
    load = f", {LOADS[measurand.load]}" if measurand.load else ""
    servings = f", {measurand.servings:g} servings" if measurand.servings else ""
    condition = f", {measurand.condition.rstrip('.')}" if measurand.condition else ""
    start = ""
    if QUANTITIES[measurand.quantity].entry == "series":
        start = f", from {measurand.start_minutes:g} minutes on"
        if measurand.ambient is not None:
            start += f", brought to a room of {measurand.ambient:g}\u202f{measurand.unit}"
    kind = QUANTITIES[measurand.quantity].name
    kind = kind if kind.isupper() or " Scale" in kind else kind[:1].lower() + kind[1:]
    return f"{kind}{unit}{load}{servings}{condition}{start}"


def _instruments(measurand: Measurand, valid: Sequence[Run]) -> str:
    """By which instruments, with resolution and limits where they were taken down."""
    unit = (QUANTITIES[measurand.quantity].units or ("",))[0]
    unit = "K" if unit == "°C" else unit
    named: dict[str, str] = {}
    for run in valid:
        if not run.instrument:
            continue
        facts = []
        if run.resolution is not None:
            facts.append(f"resolution {run.resolution:g}\u202f{unit}".rstrip())
        if run.accuracy is not None:
            facts.append(f"stated limits ±{run.accuracy:g}\u202f{unit}".rstrip())
        named[run.instrument] = f"{run.instrument} ({', '.join(facts)})" if facts else run.instrument
    return f", by {listing(list(named.values()))}" if named else ""
