"""Codes for the cups of a plan, and the spare ones."""

from __future__ import annotations

from typing import TYPE_CHECKING

from panel.randomiser.chance import Chance
from panel.randomiser.pool import POOL
from panel.randomiser.trays import Cup, deal_trays, kind_codes, seat_codes

if TYPE_CHECKING:
    from panel.randomiser.layout import Draft
    from panel.randomiser.wish import Wish

SPARES = 12
Codes = list[list[str]]


def code_cups(wish: Wish, places: list[list[Draft]]) -> tuple[Codes, tuple[str, ...], tuple[str, ...]]:
    """A code for every serving of every place, the spare codes, and notes.

    A serving that stays in its cup keeps the cup's code.
    """
    chance = Chance(wish.seed, "codes on cups")
    deck = chance.shuffled(POOL)
    spare = _spares(wish)
    spares, pool = tuple(deck[:spare]), sorted(deck[spare:])
    codes: Codes = [[""] * len(row) for row in places]
    taken: list[set[str]] = [set() for _ in places]
    notes: list[str] = []
    again = 0  # cups of a sitting whose code another cup of that sitting carries, at the worst sitting
    for sitting in range(1, wish.sittings + 1):
        spots = [
            [i for i, draft in enumerate(row) if draft.sitting == sitting and draft.same_as is None]
            for row in places
        ]
        cups = [
            [Cup(row[i].sample, row[i].task) for i in mine] for row, mine in zip(places, spots, strict=True)
        ]
        if wish.code_rule == "per cup":
            trays = deal_trays(len(places), len(spots[0]), pool, taken, chance)
            seated = seat_codes(trays, cups, wish.samples + 1, chance)
        else:
            seated, free = _per_sample(places, spots, cups, pool, chance)
            pool = [code for code in pool if not any(code in row for row in seated)]
            notes += [] if free else [_ORDERLY]
        drawn_codes = [code for drawn in seated for code in drawn]
        again = max(again, len(drawn_codes) - len(set(drawn_codes)))
        for row, mine, drawn, had in zip(codes, spots, seated, taken, strict=True):
            for i, code in zip(mine, drawn, strict=True):
                row[i] = code
            had.update(drawn)
    for row, drafts in zip(codes, places, strict=True):
        for i, draft in enumerate(drafts):
            if draft.same_as is not None:
                row[i] = row[draft.same_as - 1]
    return codes, spares, (_rule_note(wish, len(pool), again), *dict.fromkeys(notes))


_ORDERLY = (
    "With one code per sample the codes of some places stand in rising or falling order by position; with one "
    "code per cup they would not."
)


def _spares(wish: Wish) -> int:
    if wish.spare is not None:
        return wish.spare
    # The last codes of the pool rather go to cups where that keeps every cup of the sitting different.
    cups = wish.tasters * wish.cups_per_sitting
    return min(SPARES, len(POOL) - cups) if cups <= len(POOL) else SPARES


def _per_sample(
    places: list[list[Draft]], spots: list[list[int]], cups: list[list[Cup]], pool: list[str], chance: Chance
) -> tuple[Codes, bool]:
    """The same code for every taster's cup of one sample, condition and replicate."""
    kinds: dict[tuple[int, ...], int] = {}
    rows: list[list[int]] = []
    for row, mine in zip(places, spots, strict=True):
        met: dict[tuple[int, ...], int] = {}
        numbers = []
        for i in mine:
            draft = row[i]
            key = (draft.warm_up, draft.sample, draft.condition, draft.replicate)
            met[key] = met.get(key, 0) + 1  # a triad holds two cups of one sample, which need two codes
            numbers.append(kinds.setdefault((*key, met[key]), len(kinds)))
        rows.append(numbers)
    if len(kinds) > len(pool):
        raise ValueError(
            f"code_rule 'per sample' needs {len(kinds)} codes for this sitting, but only {len(pool)} are left; "
            "use 'per cup' or fewer samples, conditions or replicates"
        )
    chosen, free = kind_codes(len(kinds), pool, rows, cups, chance)
    return [[chosen[kind] for kind in row] for row in rows], free


def _rule_note(wish: Wish, pool: int, again: int) -> str:
    if wish.code_rule == "per sample":
        return (
            "Codes: one per sample and sitting, the same for every taster; quick to pour, but tasters who talk can "
            "compare codes."
        )
    cups = wish.tasters * wish.cups_per_sitting
    if not again:
        return f"Codes: one per cup; all {cups} cups of a sitting have different codes."
    if cups <= pool:
        return (
            f"Codes: one per cup; so that no taster meets a code twice, {again} cups of a later sitting carry a code "
            "that another taster's cup carries as well."
        )
    return (
        f"Codes: one per cup; the {cups} cups of a sitting are more than the {pool} codes at hand, so codes come "
        f"again with other tasters, each about {-(-cups // pool)} times, and never twice with one taster."
    )
