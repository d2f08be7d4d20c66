"""A taster's record and a panel's overview in words, tables and a chart."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from panel.analysis.drawing import GREY, INK, Figure, canvas, cut, plain, written
from panel.analysis.numbers import ABSENT, fixed, p_cell, signed
from panel.analysis.taster_record import LIMITS, panel_lines
from panel.analysis.view_parts import Column, Table

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from panel.analysis.taster_record import SignedStudy, StudyLine, TasterRecord


def attendance_table(record: TasterRecord, day: Callable[[str], str]) -> Table:
    """Which studies, how much was answered, what was late, whether it counted."""
    rows = tuple(
        (
            line.study.title,
            day(line.study.at),
            line.study.test,
            f"{line.seat.answered} of {line.seat.screens}",
            str(line.seat.late),
            f"left out: {line.seat.left_out}" if line.seat.left_out else "yes",
        )
        for line in record.lines
    )
    headings = ("Study", "Signed", "Test", "Screens answered", "Late answers", "Counted")
    return Table(
        "Attendance", tuple(Column(name, name.endswith(("answered", "answers"))) for name in headings), rows
    )


def scores_table(record: TasterRecord) -> Table | None:
    """Every attribute of every study with scores; None where there is none."""
    rows = tuple(
        (
            line.study.title,
            one.title,
            str(one.scores),
            ABSENT if one.discrimination_p is None else p_cell(one.discrimination_p),
            fixed(one.repeatability, 2),
            fixed(one.agreement, 2),
            signed(one.h, 2),
            fixed(one.k, 2),
            "; ".join((*(f"{what} beyond the 5 % limit" for what in one.outside), *one.flags)) or ABSENT,
        )
        for line in record.lines
        for one in line.attributes
    )
    if not rows:
        return None
    headings = (
        "Study", "Attribute", "Scores", "p of discrimination", "SD of repeats", "Agreement", "h (level)",
        "k (spread)", "Stands out",
    )  # fmt: skip
    words = ("Study", "Attribute", "Stands out")
    return Table(
        caption="Scores: discrimination, repeatability, agreement, level",
        columns=tuple(Column(name, name not in words) for name in headings),
        rows=rows,
        note=(
            "p of discrimination: F test of the samples within this taster. SD of repeats: of one sample under one "
            "condition. Agreement: correlation with the mean of the others. A dash stands where it cannot be "
            f"estimated. {LIMITS}"
        ),
    )


def choices_table(record: TasterRecord) -> Table | None:
    """Right answers in each forced-choice study; None where there is none."""
    rows = tuple(
        (
            line.study.title,
            line.study.test,
            f"{line.seat.right} of {line.seat.sets}",
            ABSENT if line.p_value is None else p_cell(line.p_value),
        )
        for line in record.lines
        if line.seat.sets
    )
    if not rows:
        return None
    columns = (
        Column("Study", False),
        Column("Test", False),
        Column("Right"),
        Column("p of guessing as well"),
    )
    return Table(
        "Telling samples apart",
        columns,
        rows,
        note="Exact, one-sided; not corrected for the number of studies.",
    )


def level_chart(record: TasterRecord) -> Figure | None:
    """h over the studies with scores, with its limits: a chart of consistency over time. None without two studies."""
    lines = [line for line in record.lines if line.leading is not None and line.leading.h is not None]
    if len(lines) < 2:
        return None
    spoken = "; ".join(f"{line.study.title}: {signed(_h(line), 2)}" for line in lines)
    return Figure(
        name="levels",
        title="The taster's level against the panel's (h), study by study, in the attribute that the verdict rested on",
        alt=f"Level h of each study, oldest first, with limits at 5 % and 1 %. {spoken}.",
        draw=lambda: _drawn_levels(lines),
        data=_level_data(lines),
    )


def _h(line: StudyLine) -> float:
    assert line.leading is not None
    assert line.leading.h is not None
    return line.leading.h


def _level_data(lines: Sequence[StudyLine]) -> Table:
    rows = []
    for line in lines:
        one = line.leading
        assert one is not None
        assert one.limits is not None
        limits = (one.limits.h_warning, one.limits.h_action)
        rows.append(
            (line.study.title, one.title, signed(one.h, 2), *(f"±{fixed(limit, 2)}" for limit in limits))
        )
    columns = (
        Column("Study", False), Column("Attribute", False), Column("h"), Column("5 % limit"), Column("1 % limit"),
    )  # fmt: skip
    return Table("Behind the chart: levels and limits", columns, tuple(rows))


def _drawn_levels(lines: Sequence[StudyLine]) -> str:
    figure, axes = canvas(3.2, bottom=1.0, left=0.6, right=0.45)
    places = list(range(len(lines)))
    limits = [line.leading.limits for line in lines if line.leading and line.leading.limits]
    for sign in (1, -1):
        for name, dashes in (("h_warning", (0, (4, 3))), ("h_action", "-")):
            values = [sign * getattr(limit, name) for limit in limits]
            axes.step([-0.5, *(at + 0.5 for at in places)], [values[0], *values], where="pre", color=GREY,
                      linewidth=0.9, linestyle=dashes)  # fmt: skip
            axes.annotate("5 %" if name == "h_warning" else "1 %", (places[-1] + 0.5, values[-1]), (3, 0),
                          textcoords="offset points", fontsize=8, va="center", color=INK)  # fmt: skip
    axes.axhline(0, color=GREY, linewidth=0.6)
    _points(axes, places, lines)
    axes.set_xlim(-0.5, len(lines) - 0.5)
    axes.set_xticks(
        places, [plain(cut(line.study.title, 22)) for line in lines], rotation=30, ha="right", fontsize=8
    )
    axes.set_ylabel("h")
    return written(figure)


def _points(axes: Any, places: Sequence[int], lines: Sequence[StudyLine]) -> None:
    values = [_h(line) for line in lines]
    axes.plot(places, values, color=INK, linewidth=1)
    for at, value, line in zip(places, values, lines, strict=True):
        out = line.leading is not None and "level" in line.leading.outside
        axes.plot([at], [value], marker="D" if out else "o", markersize=7 if out else 5, color=INK,
                  markerfacecolor=INK if out else "white")  # fmt: skip
    lowest, highest = axes.get_ylim()
    axes.set_ylim(min(lowest, -2), max(highest, 2))


def panel_table(studies: Sequence[SignedStudy], day: Callable[[str], str]) -> Table | None:
    """How consistent the panel was in each signed study with scores; None where there is none."""
    rows = []
    for study in studies:
        for title, found in panel_lines(study.results)[:1]:
            flagged = len({flag["taster"] for flag in found["flags"]})
            rows.append(
                (
                    study.title,
                    day(study.at),
                    title,
                    str(found["n_tasters"]),
                    fixed(found["icc_single"], 2),
                    fixed(found["icc_average"], 2),
                    fixed(found["kendall_w"], 2),
                    str(flagged),
                )
            )
    if not rows:
        return None
    headings = (
        "Study",
        "Signed",
        "Attribute",
        "Tasters",
        "ICC of one",
        "ICC of the mean",
        "Kendall’s W",
        "Flagged",
    )
    return Table(
        caption="The panel in each signed study, by the attribute that the verdict rested on",
        columns=tuple(Column(name, name not in ("Study", "Signed", "Attribute")) for name in headings),
        rows=tuple(rows),
        note=(
            "ICC of one: reliability of a single taster’s score, ICC(2,1); of the mean of all of them, ICC(2,k) "
            "(Shrout & Fleiss 1979). Kendall’s W: agreement of their orders, 0 to 1. A low value may come from samples "
            "that are alike, and not from the tasters."
        ),
    )
