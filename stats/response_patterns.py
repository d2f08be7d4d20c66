"""Answers that look unread: long runs of one score, and ballots faster than anyone tastes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stats.phrasing import count, listing, p_text, percent, significant
from stats.results import Result

if TYPE_CHECKING:
    import pandas as pd

    from stats.score_table import Codes, Floats, Frame

LEAST_RUN = 5  # common practice, no source: shorter runs are never flagged
SLOW_SHARE = 1 / 3  # common practice, no source: a third of the panel's median time


@dataclass(frozen=True, slots=True)
class TasterPattern:
    """One taster's answers in the order given.

    n : answers; longest_run : identical answers in a row; run_p : chance of such a run, given how often this
        panel repeats an answer; None under two answers
    median_seconds : per answer, None without times; too_fast : answers under the stated least time
    """

    taster: str
    n: int
    longest_run: int
    run_score: float
    run_p: float | None
    median_seconds: float | None
    too_fast: int


@dataclass(frozen=True, slots=True)
class PatternFlag:
    """One reason to look at one taster's answers, and the rule that raised it."""

    taster: str
    about: str
    seen: str
    rule: str


@dataclass(frozen=True, slots=True)
class ResponsePatterns(Result):
    """Runs and times per taster. A flag is a reason to look, never a reason by itself to drop anyone.

    repeat_rate : how often the panel gives the answer it gave just before, 0..1
    panel_median_seconds : median of the tasters' medians, None without times
    """

    tasters: tuple[TasterPattern, ...]
    flags: tuple[PatternFlag, ...]
    repeat_rate: float
    panel_median_seconds: float | None
    alpha: float
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """Who is flagged and for what."""
        if not self.flags:
            return f"No unusual run of identical answers{self._speed()} was found in {self._who()}."
        told = [f"{flag.taster} ({flag.about}: {flag.seen})" for flag in self.flags]
        shown = told if len(told) <= 4 else [*told[:3], f"{len(told) - 3} more"]
        return f"Worth a look: {listing(shown)}; nobody is left out for this."

    def _speed(self) -> str:
        return "" if self.panel_median_seconds is None else " and no implausible speed"

    def _who(self) -> str:
        return f"the answers of {count(len(self.tasters), 'taster')}"


def response_patterns(
    frame: Frame, *, alpha: float = 0.05, least_seconds: float | None = None
) -> ResponsePatterns:
    """Look for straight-lining and implausible speed.

    frame : long, columns `taster, score` and where present `sitting, position` (answers are read in that
        order, and in the frame's order within it) and `seconds` (time spent on the answer, missing allowed)
    alpha : level for runs, divided by the number of tasters (Bonferroni)
    least_seconds : time under which no answer is believed; None judges against the panel alone

    Run rule: at least five identical answers in a row, and a run so long has a chance below alpha / tasters if
    this taster repeated the last answer as often as the panel does (exact recursion, answers otherwise
    independent: Feller, Probability Theory vol. 1, XIII.7). Speed rule: a median under a third of the panel's
    (common practice, no source), or any answer under least_seconds.
    Missing scores are left out. Raises ValueError for missing columns and times that are negative.
    """
    if not 0 < alpha < 1:
        raise ValueError(f"alpha must lie between 0 and 1, but got {alpha!r}")
    data, missing = _ordered(frame)
    names, code = np.unique(
        data["taster"].astype(str).to_numpy(dtype=object).astype(str), return_inverse=True
    )
    score = data["score"].to_numpy(dtype=np.float64) + 0.0  # a rounded -0 is 0
    again = (np.diff(code) == 0) & (np.diff(score) == 0)
    chances = int((np.diff(code) == 0).sum())
    rate = float(again.sum() / chances) if chances else 0.0
    seconds = _seconds(data)
    rows = tuple(
        _pattern(
            str(name), score[code == i], None if seconds is None else seconds[code == i], rate, least_seconds
        )
        for i, name in enumerate(names)
    )
    medians = [row.median_seconds for row in rows if row.median_seconds is not None]
    panel = float(np.median(medians)) if medians else None
    return ResponsePatterns(
        tasters=rows,
        flags=tuple(_flags(rows, panel, alpha, least_seconds)),
        repeat_rate=rate,
        panel_median_seconds=panel,
        alpha=alpha,
        method="Longest run of identical answers against the panel's rate of repeating; time per answer",
        notes=(*([f"{count(missing, 'row')} without a score left out"] if missing else []), *_caveat(rate)),
    )


def _caveat(rate: float) -> tuple[str, ...]:
    if rate <= 0.5:
        return ()
    return (f"the panel repeats its last answer {percent(rate)} of the time: runs say little here",)


def _ordered(frame: Frame) -> tuple[pd.DataFrame, int]:
    import pandas as pd

    data = frame if isinstance(frame, pd.DataFrame) else pd.DataFrame(frame)
    for name in ("taster", "score"):
        if name not in data.columns:
            raise ValueError(f"frame: column {name!r} is missing; it has {', '.join(map(str, data.columns))}")
    if data["taster"].isna().any():
        raise ValueError("taster: a row has no taster; give every row its taster")
    score = pd.to_numeric(data["score"], errors="coerce")
    odd = np.flatnonzero((score.isna() & data["score"].notna()).to_numpy())
    if odd.size:
        raise ValueError(f"score: row {odd[0] + 1} holds {data['score'].iloc[odd[0]]!r}, which is no number")
    kept = data.assign(score=score.astype(float))[score.notna().to_numpy()]
    if not len(kept):
        raise ValueError("frame: it has no score")
    keys = ["taster", *(name for name in ("sitting", "position") if name in data.columns)]
    return kept.sort_values(keys, kind="stable"), int(score.isna().sum())


def _seconds(data: pd.DataFrame) -> Floats | None:
    if "seconds" not in data.columns:
        return None
    seconds: Floats = data["seconds"].to_numpy(dtype=np.float64, na_value=np.nan)
    if (seconds < 0).any():
        raise ValueError(
            f"seconds: {float(np.nanmin(seconds))!r} is negative; times count from showing the question"
        )
    return seconds


def _pattern(
    name: str, score: Floats, seconds: Floats | None, rate: float, least_seconds: float | None
) -> TasterPattern:
    edges = np.flatnonzero(np.concatenate([[True], np.diff(score) != 0, [True]]))
    lengths: Codes = np.diff(edges)
    top = int(lengths.argmax())
    known = np.zeros(0) if seconds is None else seconds[~np.isnan(seconds)]
    return TasterPattern(
        taster=name,
        n=len(score),
        longest_run=int(lengths[top]),
        run_score=float(score[edges[top]]),
        run_p=chance_of_run(int(lengths[top]), len(score), rate) if len(score) > 1 else None,
        median_seconds=float(np.median(known)) if len(known) else None,
        too_fast=0 if least_seconds is None else int((known < least_seconds).sum()),
    )


def chance_of_run(length: int, n: int, repeat: float) -> float:
    """P(some run of at least `length` among n answers) when each repeats the last with chance `repeat`.

    length, n >= 1; 0 <= repeat <= 1. A run of `length` answers is one of `length - 1` repetitions among the
    n - 1 chances; exact recursion over the first such run (Feller vol. 1, XIII.7).
    """
    if length < 1 or n < 1 or not 0 <= repeat <= 1:
        raise ValueError(
            f"length and n must be at least 1 and repeat in [0, 1], but got {length}, {n}, {repeat!r}"
        )
    need, chances = length - 1, n - 1
    if need == 0:
        return 1.0
    none = [1.0] * (chances + 1)  # none[m]: chance of no such run among m chances
    for m in range(need, chances + 1):
        start = repeat**need
        ends = start if m == need else (1 - repeat) * start * none[m - need - 1]
        none[m] = none[m - 1] - ends
    return min(max(1.0 - none[chances], 0.0), 1.0)


def _flags(
    rows: tuple[TasterPattern, ...], panel: float | None, alpha: float, least_seconds: float | None
) -> list[PatternFlag]:
    run_rule = (
        f"at least {LEAST_RUN} identical answers in a row, with a chance below {alpha:g} divided by the number of "
        "tasters at the panel's rate of repeating an answer"
    )
    speed_rule = "median time per answer under a third of the panel's median (common practice, no source)"
    found = []
    for row in rows:
        if row.run_p is not None and row.longest_run >= LEAST_RUN and row.run_p * len(rows) < alpha:
            seen = f"{row.longest_run} times {row.run_score:g} in a row, {p_text(row.run_p)}"
            found.append(PatternFlag(row.taster, "straight-lining", seen, run_rule))
        if (
            panel
            and row.median_seconds is not None
            and row.median_seconds < SLOW_SHARE * panel
            and len(rows) > 2
        ):
            seen = (
                f"median {significant(row.median_seconds)} s per answer, the panel's {significant(panel)} s"
            )
            found.append(PatternFlag(row.taster, "speed", seen, speed_rule))
        if row.too_fast and least_seconds is not None:
            rule = f"any answer in less than {least_seconds:g} s, as stated beforehand"
            found.append(PatternFlag(row.taster, "speed", f"{count(row.too_fast, 'answer')} too fast", rule))
    return found
