"""The drivers in words, tables and figures."""

from __future__ import annotations

from typing import TYPE_CHECKING

from panel.analysis.figures_maps import correspondence_map
from panel.analysis.figures_plots import PenaltyPoint, penalty_figure
from panel.analysis.numbers import ABSENT, as_sentence, decimals_for, fixed, interval, p_cell
from panel.analysis.view_parts import Column, Section, Table
from stats import holm
from stats.phrasing import count, listing, p_text, percent, significant

if TYPE_CHECKING:
    from panel.analysis.drawing import Figure
    from panel.analysis.drivers import Drivers, Penalty
    from panel.analysis.wording import Called
    from stats.check_all import CheckAll
    from stats.just_about_right import PenaltySide

MOST_PENALTY_FIGURES = 6
CAUSE = "Drivers show what goes along with liking in these answers, not what would happen if the product were changed."


def drivers_section(found: Drivers | None, called: Called, *, figures: bool) -> Section | None:
    """Penalties and ticked terms; None where none were asked."""
    if found is None:
        return None
    paragraphs, tables, drawn = [], [], []
    if found.penalties:
        paragraphs.append(penalties_sentence(found, called))
        tables.append(penalties_table(found, called))
        drawn += penalty_figures(found, called) if figures else []
    if found.terms is not None:
        paragraphs.append(terms_sentence(found.terms))
        tables += [terms_table(found.terms, called), *liking_tables(found.terms)]
        if figures and found.terms.correspondence is not None:
            drawn.append(correspondence_map(found.terms.correspondence, called=called))
    notes = [CAUSE, *(found.terms.notes if found.terms else ()), *found.not_done]
    notes += [note for one in found.penalties for note in one.result.notes]
    return Section(
        "drivers",
        "Drivers: what goes along with liking?",
        paragraphs=tuple(paragraphs),
        figures=tuple(drawn),
        tables=tuple(tables),
        notes=tuple(as_sentence(note) for note in dict.fromkeys(notes)),
        gist="exploratory",
    )


def penalties_sentence(found: Drivers, called: Called) -> str:
    """The sides that reach the cut-off and whose drop is sure, largest first; or that there is none."""
    cut_off = found.penalties[0].result.cut_off
    sides = [(one, side) for one in found.penalties for side in (one.result.low, one.result.high)]
    counted = [(one, side) for one, side in sides if side.counts and side.mean_drop is not None]
    sure = [(one, side) for one, side in counted if (side.mean_drop_interval.low or 0.0) > 0]
    if not counted:
        return (
            f"No side of a just-about-right scale reaches {percent(cut_off)} of answers: no penalty is read."
        )
    if not sure:
        return (
            f"{count(len(counted), 'side')} of the just-about-right scales "
            f"{'reaches' if len(counted) == 1 else 'reach'} {percent(cut_off)} of answers, but the interval of the "
            "drop in liking includes zero each time: no penalty was shown, which does not show that there is none."
        )
    sure.sort(key=lambda both: -(both[1].weighted_drop or 0.0))
    told = [
        f"{called(one.sample)} “{one.title}” {side.side} ({percent(side.share)} of tasters, "
        f"{significant(side.mean_drop or 0.0, 2)} points lower)"
        for one, side in sure[:4]
    ]
    more = f", and {len(sure) - 4} more" if len(sure) > 4 else ""
    return f"Liking is lower among those who find: {'; '.join(told)}{more}. These findings are exploratory."


def penalties_table(found: Drivers, called: Called) -> Table:
    """Each side of each scale of each sample."""
    sides = [(one, side) for one in found.penalties for side in (one.result.low, one.result.high)]
    spans = [side.mean_drop_interval for _, side in sides]
    widths = [(one.high - one.low) / 2 for one in spans if one.low is not None and one.high is not None]
    # The narrowest interval may come from a handful of equal answers: the usual one decides.
    decimals = min(2, decimals_for([sorted(widths)[len(widths) // 2]] if widths else []))
    return Table(
        caption="Just about right: shares, and the drop in mean liking against those who say just about right",
        columns=(
            Column("Sample and scale", numeric=False),
            Column("Side", numeric=False),
            Column("Share"),
            Column("Drop"),
            Column("95\u202f% interval"),
            Column("Share × drop"),
            Column("Counts", numeric=False),
        ),
        rows=tuple(_side_row(one, side, called, decimals) for one, side in sides),
        note=(
            f"A side counts from {percent(found.penalties[0].result.cut_off)} of answers (common practice). "
            "Intervals by bootstrap over tasters, not corrected for the number of sides."
        ),
    )


def _side_row(one: Penalty, side: PenaltySide, called: Called, decimals: int) -> tuple[str, ...]:
    span = side.mean_drop_interval
    return (
        f"{called(one.sample)}, “{one.title}”",
        side.side,
        f"{percent(side.share)} ({side.n})",
        fixed(side.mean_drop, decimals),
        interval(span.low, span.high, decimals),
        fixed(side.weighted_drop, 2),
        "yes" if side.counts else "no",
    )


def penalty_figures(found: Drivers, called: Called) -> list[Figure]:
    """One plot for each sample, at most six of them: those with the largest share × drop."""
    by_sample: dict[str, list[Penalty]] = {}
    for one in found.penalties:
        by_sample.setdefault(one.sample, []).append(one)

    def weight(sample: str) -> float:
        sides = [side for one in by_sample[sample] for side in (one.result.low, one.result.high)]
        return max((side.weighted_drop or 0.0 for side in sides), default=0.0)

    chosen = sorted(by_sample, key=weight, reverse=True)[:MOST_PENALTY_FIGURES]
    drawn = []
    for place, sample in enumerate(sorted(chosen), start=1):
        points = [
            PenaltyPoint(
                f"{one.title}: {side.side}",
                side.share,
                side.mean_drop,
                side.mean_drop_interval.low,
                side.mean_drop_interval.high,
            )
            for one in by_sample[sample]
            for side in (one.result.low, one.result.high)
            if side.mean_drop is not None
        ]
        if points:
            title = f"Penalties of {called(sample)}"
            cut_off = by_sample[sample][0].result.cut_off
            drawn.append(penalty_figure(points, cut_off=cut_off, title=title, name=f"penalties-{place}"))
    return drawn


def terms_sentence(found: CheckAll) -> str:
    """Which terms tell the samples apart, after Holm's correction over the terms."""
    tested = [(one, one.p) for one in found.terms if one.p is not None]
    if not tested:
        return "No term was ticked for some samples and not for others, so that none can tell them apart."
    adjusted = holm([p for _, p in tested])
    clear = [(one, p) for (one, _), p in zip(tested, adjusted, strict=True) if p <= found.alpha]
    over = f"Cochran's Q, Holm's correction over {count(len(tested), 'term')}"
    if not clear:
        return (
            f"No term was shown to be ticked more often for one sample than another ({over}, smallest adjusted "
            f"{p_text(min(adjusted))}). This does not show that the samples are the same."
        )
    told = [f"“{one.term}” ({p_text(p)})" for one, p in sorted(clear, key=lambda both: both[1])]
    verb = "is" if len(told) == 1 else "are"
    return f"{listing(told)} {verb} ticked more often for some samples than for others ({over})."


def terms_table(found: CheckAll, called: Called) -> Table:
    """How often each term was ticked for each sample, with Cochran's Q."""
    samples = sorted({name for one in found.terms for name, _ in one.checked})
    tested = [one.p for one in found.terms if one.p is not None]
    adjusted = iter(holm(tested))
    rows = []
    for one in found.terms:
        shares = dict(one.checked)
        cells = [percent(shares[name] / one.blocks) if name in shares else ABSENT for name in samples]
        q = ABSENT if one.cochran_q is None else significant(one.cochran_q)
        rows.append((one.term, *cells, q, p_cell(one.p), p_cell(None if one.p is None else next(adjusted))))
    return Table(
        caption="Terms: share of answers in which each was ticked",
        columns=(
            Column("Term", numeric=False),
            *(Column(called(name)) for name in samples),
            *(Column(heading) for heading in ("Cochran's Q", "p", "p, Holm")),
        ),
        rows=tuple(rows),
        note="A term that was not ticked is not the same as a “no”: ticking is easily forgotten.",
    )


def liking_tables(found: CheckAll) -> list[Table]:
    """Liking where a term was ticked against where it was not."""
    known = [one for one in found.liking if one.difference.estimate is not None]
    if not known:
        return []
    spans = [one.difference for one in known]
    widths = [(one.high - one.low) / 2 for one in spans if one.low is not None and one.high is not None]
    decimals = min(2, decimals_for(widths))
    rows = tuple(
        (
            one.term,
            fixed(one.difference.estimate, decimals),
            interval(one.difference.low, one.difference.high, decimals),
            fixed(one.liking_checked, 2),
            fixed(one.liking_unchecked, 2),
            str(one.n_checked),
        )
        for one in sorted(known, key=lambda one: -(one.difference.estimate or 0.0))
    )
    headings = ("Difference", "95\u202f% interval", "Mean where ticked", "Where not", "Ticked")
    return [
        Table(
            caption="Liking where a term was ticked less where it was not, within tasters",
            columns=(Column("Term", numeric=False), *(Column(text) for text in headings)),
            rows=rows,
        )
    ]
