"""What an organiser asks of a serving plan, checked before anything is drawn."""

from __future__ import annotations

from dataclasses import dataclass

from panel.randomiser.chance import check_count, check_seed
from panel.randomiser.forced import MOST_TASTERS, ORDERS, orders_of
from panel.randomiser.incomplete import check_blocks
from panel.randomiser.pool import POOL
from panel.randomiser.squares import MOST_SAMPLES

SET_METHODS = ("rating", "ranking")
METHODS = (*SET_METHODS, *ORDERS)
CONDITION_MODES = ("separate", "same cup", "crossed")
CODE_RULES = ("per cup", "per sample")
MOST_CUPS = len(POOL) // 2


@dataclass(frozen=True, slots=True)
class Wish:
    """The arguments of `serving_plan` (described there); `check` raises ValueError for what cannot be done."""

    method: str
    samples: int
    tasters: int
    seed: int
    conditions: int
    condition_mode: str
    replicates: int
    per_taster: int | None
    sittings: int
    reference: int | None
    warm_up: bool | int
    break_every: int | None
    code_rule: str
    spare: int | None

    @property
    def in_sets(self) -> bool:
        """Whether the method serves forced-choice sets."""
        return self.method not in SET_METHODS

    @property
    def warms_up(self) -> bool:
        """Whether each sitting starts with an unscored sample."""
        return self.warm_up is not False

    @property
    def cups_per_sitting(self) -> int:
        """Cups that one taster takes at one sitting (a same cup counts once)."""
        one = len(orders_of(self.method)[0]) if self.in_sets else (self.per_taster or self.samples)
        sets = self.replicates if self.per_taster and not self.in_sets else self.replicates // self.sittings
        return one * sets * (1 if self.condition_mode == "same cup" else self.conditions) + self.warms_up

    def check(self) -> None:
        """Raise ValueError, naming the argument, its value and the reason."""
        check_seed(self.seed)
        for name, allowed in (
            ("method", METHODS),
            ("condition_mode", CONDITION_MODES),
            ("code_rule", CODE_RULES),
        ):
            if getattr(self, name) not in allowed:
                raise ValueError(
                    f"{name} must be one of {', '.join(allowed)}, but got {getattr(self, name)!r}"
                )
        check_count("samples", self.samples, 2, MOST_SAMPLES, "samples: a comparison needs two at least")
        check_count("tasters", self.tasters, 1, MOST_TASTERS, "tasters")
        check_count("conditions", self.conditions, 1, 10, "ways of serving")
        check_count("replicates", self.replicates, 1, 100, "replicates")
        check_count("sittings", self.sittings, 1, 50, "sittings")
        if self.spare is not None:
            check_count("spare", self.spare, 0, 100, "spare codes")
        if self.break_every is not None:
            check_count("break_every", self.break_every, 1, 100, "tasks between breaks")
        self._check_samples()
        self._check_sittings()
        if self.cups_per_sitting * self.sittings > MOST_CUPS:
            raise ValueError(
                f"each taster would take {self.cups_per_sitting * self.sittings} cups, but there are codes for "
                f"at most {MOST_CUPS} per taster; ask for fewer samples, conditions or replicates"
            )

    def _check_samples(self) -> None:
        if self.in_sets and self.samples != 2:
            raise ValueError(
                f"samples must be 2 for the {self.method} test, which compares two products, but got {self.samples}"
            )
        if self.reference is not None:
            check_count("reference", self.reference, 0, self.samples - 1, "(the index of a sample)")
            if self.in_sets:
                orders_of(self.method, self.reference)
        if not isinstance(self.warm_up, bool):
            check_count("warm_up", self.warm_up, 0, self.samples, "(the index of a sample, or one more)")

    def _check_sittings(self) -> None:
        if self.per_taster is None:
            if self.replicates % self.sittings:
                raise ValueError(
                    f"sittings is {self.sittings}, but {self.replicates} replicates of all samples cannot be shared "
                    "out equally over them; say per_taster (samples per sitting) or change the replicates"
                )
            return
        if self.in_sets:
            raise ValueError(
                f"per_taster is for rating and ranking, where a taster may take some of the samples; the "
                f"{self.method} test serves whole sets"
            )
        if self.per_taster == self.samples:
            raise ValueError(f"per_taster is {self.per_taster}, which is all samples; leave it out")
        check_blocks(self.samples, self.per_taster, self.tasters, self.sittings, self.reference)
