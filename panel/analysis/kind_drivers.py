"""Tables of ticked terms and of just-about-right scales, with liking where it was asked."""

from __future__ import annotations

from typing import TYPE_CHECKING

from panel.analysis.drivers import Drivers, Penalty, drivers
from panel.analysis.drivers_view import drivers_section, penalties_sentence, terms_sentence
from panel.analysis.kind_report import KindReport, kind_report
from panel.analysis.numbers import natural
from panel.analysis.wording import as_labelled
from stats.check_all import CheckAll, check_all
from stats.just_about_right import PenaltyAnalysis
from stats.phrasing import count, listing

if TYPE_CHECKING:
    import pandas as pd

    from panel.analysis.columns import Columns
    from panel.analysis.kind_report import Asked
    from panel.analysis.view_parts import Section
    from stats.results import Result


def check_all_table(columns: Columns, asked: Asked) -> KindReport:
    """One row per taster and sample, a column of 1 and 0 for each term, liking where it was asked."""
    frame, terms, liking = _read(columns, asked)
    ticked = frame[frame["attribute"].isin(terms)]
    off = ticked[~ticked["score"].isin((0.0, 1.0)) & ticked["score"].notna()]
    if len(off):
        row = off.iloc[0]
        raise ValueError(
            f'column "{row["attribute"]}" holds {row["score"]:g}: a term is 1 (ticked) or 0; name the columns of '
            "terms with --score, liking with --column liking=HEADING"
        )
    liked = None if liking is None else frame[frame["attribute"] == liking].drop(columns="attribute")
    found = check_all(ticked, liking=liked, alpha=asked.alpha)
    return kind_report(
        "check-all",
        columns,
        asked,
        [("terms", found)],
        title="Check-all-that-apply",
        facts=_facts(frame, [("Terms", str(len(terms)))]),
        answer=terms_sentence(found),
    )


def check_all_sections(report: KindReport, figures: bool) -> list[Section]:
    """Shares, map and co-occurrence with liking."""
    found = report.results[0][1]
    assert isinstance(found, CheckAll)
    section = drivers_section(Drivers((), found, None, ()), as_labelled, figures=figures)
    assert section is not None
    return [section]


def just_right_table(columns: Columns, asked: Asked) -> KindReport:
    """One row per taster and sample, a column for each just-about-right scale, and liking."""
    frame, scales, liking = _read(columns, asked)
    if liking is None:
        has = ", ".join(columns.raw.columns)
        raise ValueError(
            f"penalties need a column of liking: name it with --column liking=HEADING; the table has {has}"
        )
    found = drivers(
        frame,
        dict.fromkeys(scales, "jar"),
        {},
        liking=liking,
        alpha=asked.alpha,
        just_right=asked.just_right,
    )
    if found is None or not found.penalties:
        raise ValueError(found.not_done[0] if found and found.not_done else "there is no scale to analyse")
    results: list[tuple[str, Result]] = [
        (f"{one.attribute}\t{one.sample}", one.result) for one in found.penalties
    ]
    columns.said += found.not_done
    return kind_report(
        "just-right",
        columns,
        asked,
        results,
        title="Just-about-right scales",
        facts=_facts(frame, [("Scales", str(len(scales))), ("Just about right", f"{asked.just_right:g}")]),
        answer=penalties_sentence(found, as_labelled),
        findings=(),
    )


def just_right_sections(report: KindReport, figures: bool) -> list[Section]:
    """Shares and drops with their plots."""
    penalties = []
    for name, result in report.results:
        assert isinstance(result, PenaltyAnalysis)
        attribute, sample = name.split("\t")
        penalties.append(Penalty(attribute, attribute, sample, result))
    section = drivers_section(Drivers(tuple(penalties), None, "liking", ()), as_labelled, figures=figures)
    assert section is not None
    return [section]


def _facts(frame: pd.DataFrame, more: list[tuple[str, str]]) -> list[tuple[str, str]]:
    samples = sorted(set(frame["sample"]), key=natural)
    return [
        ("Samples", f"{len(samples)}: {listing(samples)}"),
        ("Took part", count(int(frame["taster"].nunique()), "taster")),
        *more,
    ]


def _read(columns: Columns, asked: Asked) -> tuple[pd.DataFrame, list[str], str | None]:
    """A long frame of all numbers, the headings of terms or scales, and that of liking."""
    import pandas as pd

    tasters, samples = columns.texts("taster"), columns.texts("sample")
    liking = columns.find("liking", needed=False)
    headings = list(asked.terms) or columns.left()
    for name in headings:
        if name not in columns.raw.columns:
            raise ValueError(f'there is no column "{name}"; the table has {", ".join(columns.raw.columns)}')
    values = {name: columns.heading(name) for name in headings}
    if liking is not None:
        values[liking] = columns.numbers("liking")
    columns.stop()
    if not headings:
        raise ValueError("no column is left that could hold terms or scales: name them with --score")
    if not asked.terms:
        columns.said.append(f"Columns {listing([f'“{name}”' for name in headings])} are analysed (guessed).")
    seen = list(zip(tasters, samples, strict=True))
    twice = (
        next((pair for pair in seen if seen.count(pair) > 1), None) if len(set(seen)) < len(seen) else None
    )
    if twice:
        raise ValueError(f'taster "{twice[0]}" answers twice about sample "{twice[1]}": keep one row')
    parts = [
        pd.DataFrame({"taster": tasters, "sample": samples, "score": cells, "attribute": name})
        for name, cells in values.items()
    ]
    return pd.concat(parts, ignore_index=True), headings, liking
