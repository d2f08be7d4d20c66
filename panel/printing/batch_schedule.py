"""What to start when, so that every cup is served while its batch is still good. Arithmetic only, no paper."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True)
class Due:
    """Cups of one pour letter to be served together. minute : after the sitting's opening; cups : how many."""

    pour_letter: str
    minute: float
    cups: int = 1


@dataclass(frozen=True, slots=True)
class Kitchen:
    """How batches are made; times in minutes.

    preparation : from start to ready; holding : a cup must be served at most so long after ready
    rest : and not sooner than this; turnaround : between a batch being ready and the next start
    cups_per_batch : what one batch yields
    shared : one appliance makes all samples in turn, instead of one for each
    """

    preparation: float
    holding: float
    cups_per_batch: int
    rest: float = 0.0
    turnaround: float = 0.0
    shared: bool = False

    def __post_init__(self) -> None:
        if not self.preparation > 0:
            raise ValueError(f"preparation must be more than 0 minutes; got {self.preparation:g}")
        if not 0 <= self.rest <= self.holding:
            raise ValueError(
                f"rest must lie between 0 and the holding time of {self.holding:g} minutes; got {self.rest:g}"
            )
        if self.cups_per_batch < 1:
            raise ValueError(f"cups_per_batch must be at least 1; got {self.cups_per_batch}")
        if not self.turnaround >= 0:
            raise ValueError(f"turnaround cannot be negative; got {self.turnaround:g}")


@dataclass(frozen=True, slots=True)
class Batch:
    """One preparation; times in minutes after the opening, negative before it.

    number : within its pour letter, from 1
    clash : minutes by which it keeps its appliance from the next batch, named in `next_batch`
    """

    pour_letter: str
    number: int
    start: float
    ready: float
    first_serving: float
    last_serving: float
    cups: int
    clash: float = 0.0
    next_batch: str = ""


@dataclass(frozen=True, slots=True)
class BatchSchedule:
    """Batches in order of their start, and what cannot be kept.

    opening : minutes after midnight at which the sitting opens, or None
    """

    kitchen: Kitchen
    batches: tuple[Batch, ...]
    conflicts: tuple[str, ...]
    opening: int | None = None

    def at(self, minute: float) -> str:
        """A time as it is printed: on the clock where the opening is known, else from the opening."""
        if self.opening is None:
            return f"{'−' if minute < 0 else '+'}{abs(minute):.0f} min"
        hours, minutes = divmod(round(self.opening + minute) % 1440, 60)
        return f"{hours:02d}:{minutes:02d}"


def batch_schedule(dues: Sequence[Due], kitchen: Kitchen, *, opening: int | None = None) -> BatchSchedule:
    """The fewest batches that can serve `dues`, each started as late as the appliance allows.

    A batch takes the earliest cups not yet served, as many as its yield and the window hold: no other way of
    cutting needs fewer. Where the appliance would still be busy, the earlier batch is made earlier as far as
    its window allows; what is left is told as a conflict, in minutes. Windows are always kept.
    Raises ValueError for no dues or a number of cups below 1.
    """
    if not dues:
        raise ValueError("There are no cups to schedule.")
    for due in dues:
        if due.cups < 1:
            raise ValueError(f"cups must be at least 1; got {due.cups} for {due.pour_letter}")
    cut = [
        batch for letter in sorted({due.pour_letter for due in dues}) for batch in _cut(letter, dues, kitchen)
    ]
    by_appliance: dict[str, list[Batch]] = defaultdict(list)
    for batch in sorted(cut, key=lambda one: (one.first_serving, one.last_serving, one.pour_letter)):
        by_appliance["" if kitchen.shared else batch.pour_letter].append(batch)
    placed = [batch for row in by_appliance.values() for batch in _placed(row, kitchen)]
    ordered = tuple(sorted(placed, key=lambda one: (one.start, one.pour_letter, one.number)))
    bare = BatchSchedule(kitchen, ordered, (), opening)
    return replace(bare, conflicts=tuple(_conflict(bare, batch) for batch in ordered if batch.clash > 0))


def _cut(letter: str, dues: Sequence[Due], kitchen: Kitchen) -> list[Batch]:
    times = sorted(due.minute for due in dues if due.pour_letter == letter for _ in range(due.cups))
    batches: list[Batch] = []
    while times:
        last_possible = times[0] + kitchen.holding - kitchen.rest
        taken = [time for time in times[: kitchen.cups_per_batch] if time <= last_possible]
        times = times[len(taken) :]
        ready = taken[0] - kitchen.rest
        batches.append(
            Batch(
                letter, len(batches) + 1, ready - kitchen.preparation, ready, taken[0], taken[-1], len(taken)
            )
        )
    return batches


def _placed(batches: list[Batch], kitchen: Kitchen) -> list[Batch]:
    """Batches of one appliance, each ready before the next is started."""
    placed: list[Batch] = []
    free_until, next_batch = float("inf"), ""
    for batch in reversed(batches):
        earliest = batch.last_serving - kitchen.holding
        ready = max(min(batch.ready, free_until), earliest)
        clash = max(ready - free_until, 0.0)
        start = ready - kitchen.preparation
        placed.append(replace(batch, ready=ready, start=start, clash=clash, next_batch=next_batch))
        free_until, next_batch = start - kitchen.turnaround, f"batch {batch.number} of {batch.pour_letter}"
    return placed[::-1]


def _conflict(schedule: BatchSchedule, batch: Batch) -> str:
    return (
        f"Batch {batch.number} of {batch.pour_letter} is ready at {schedule.at(batch.ready)} at the earliest, "
        f"but its appliance must be free at {schedule.at(batch.ready - batch.clash)} for {batch.next_batch}: "
        f"{batch.clash:.0f} min too late. Use another appliance, make more in one batch, "
        "or leave more time between tasters."
    )
