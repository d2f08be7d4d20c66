"""The state table, whole: every move from every state, where it leads or what it says instead."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from panel.study.life import RULES, Move, State, after, allowed, refusal

# Source: the life agreed for a study (draft, sealed, serving, closed, signed, revealed), written out by hand.
# One row for each move; one column for each state in order of life: D drafted, S sealed, V serving, C closed,
# G signed, R revealed. A dot is a refusal; a letter is the state the study stands in afterwards.
TABLE = {
    #                   D S V C G R
    Move.EDIT:        "D . . . . .",
    Move.SEAL:        "S . . . . .",
    Move.PRINT:       ". S V C . .",
    Move.OPEN:        ". V . . . .",
    Move.JOIN:        ". . V . . .",
    Move.ANSWER:      ". . V C . .",
    Move.CLOSE:       ". . C . . .",
    Move.LOOK_EARLY:  ". . V . . .",
    Move.READ_REPORT: ". . . C G R",
    Move.EXCLUDE:     ". . . C . .",
    Move.SIGN:        ". . . G . .",
    Move.REVEAL:      ". . . . R .",
    Move.EXPORT:      ". S V C G R",
    Move.AMEND:       ". S V C G R",
    Move.UNBLIND:     ". S V C G .",
    Move.MEASURE:     ". S V C G R",
    Move.RATE_HANDLING: ". . . C G R",
    Move.DELETE:      "D S . C G R",
}  # fmt: skip
LETTERS = dict(zip("DSVCGR", State, strict=True))
CELLS = [
    pytest.param(state, move, LETTERS.get(cell), id=f"{move} while {state}")
    for move, row in TABLE.items()
    for state, cell in zip(State, row.split(), strict=True)
]
REFUSED = [cell for cell in CELLS if cell.values[2] is None]

# What somebody must be told to do instead: the next right step, or that it is done. By hand, one row per refusal
# that people meet on the organiser's way.
ADVICE = [
    (State.SEALED, Move.EDIT, "Copy the study"),
    (State.REVEALED, Move.EDIT, "Copy the study"),
    (State.SERVING, Move.SEAL, "already sealed"),
    (State.DRAFT, Move.PRINT, "Seal the study first"),
    (State.SIGNED, Move.PRINT, "nothing left to print"),
    (State.DRAFT, Move.OPEN, "Seal the study first"),
    (State.CLOSED, Move.OPEN, "opened already"),
    (State.SEALED, Move.JOIN, "not open yet"),
    (State.CLOSED, Move.JOIN, "closed"),
    (State.SIGNED, Move.ANSWER, "no longer counted"),
    (State.SEALED, Move.CLOSE, "not been opened"),
    (State.SIGNED, Move.CLOSE, "closed already"),
    (State.SEALED, Move.LOOK_EARLY, "open the sitting first"),
    (State.CLOSED, Move.LOOK_EARLY, "the report says how"),
    (State.SERVING, Move.READ_REPORT, "when the sitting is closed"),
    (State.SERVING, Move.EXCLUDE, "Close the sitting first"),
    (State.SIGNED, Move.EXCLUDE, "fixed"),
    (State.SERVING, Move.SIGN, "Close the sitting first"),
    (State.REVEALED, Move.SIGN, "signed already"),
    (State.CLOSED, Move.REVEAL, "signs the report first"),
    (State.REVEALED, Move.REVEAL, "revealed already"),
    (State.DRAFT, Move.AMEND, "change it as you like"),
    (State.REVEALED, Move.UNBLIND, "revealed already"),
    (State.DRAFT, Move.MEASURE, "Seal first"),
    (State.SERVING, Move.RATE_HANDLING, "once tasting is closed"),
    (State.SERVING, Move.DELETE, "Close the sitting first"),
    (State.DRAFT, Move.EXPORT, "before the study is sealed"),
]


def test_the_table_here_names_every_move_of_the_code() -> None:
    assert set(TABLE) == set(Move) == set(RULES)


@pytest.mark.parametrize(("state", "move", "to"), CELLS)
def test_a_move_leads_where_the_table_says_or_is_refused(state: State, move: Move, to: State | None) -> None:
    assert allowed(state, move) is (to is not None)
    if to is None:
        with pytest.raises(ValueError, match=r"\w") as refused:
            after(state, move)
        assert str(refused.value) == refusal(state, move)
    else:
        assert (after(state, move), refusal(state, move)) == (to, None)


@pytest.mark.parametrize(("state", "move", "_to"), REFUSED)
def test_every_refusal_is_a_sentence(state: State, move: Move, _to: None) -> None:
    said = refusal(state, move)
    assert said is not None
    assert said[:1].isupper(), f"{move} while {state} is refused with {said!r}"
    assert said.endswith(".")
    assert len(said.split()) >= 4


@pytest.mark.parametrize(
    ("state", "move", "advice"), ADVICE, ids=[f"{move} while {state}" for state, move, _ in ADVICE]
)
def test_a_refusal_says_what_to_do_instead(state: State, move: Move, advice: str) -> None:
    assert advice in (refusal(state, move) or "")


def moved(moves: list[Move]) -> list[State]:
    """The states that a study passes when somebody tries all these moves, refused ones included."""
    passed = [State.DRAFT]
    for move in moves:
        passed.append(after(passed[-1], move) if allowed(passed[-1], move) else passed[-1])
    return passed


WAY = (Move.SEAL, Move.OPEN, Move.CLOSE, Move.SIGN, Move.REVEAL)


@given(st.lists(st.sampled_from(Move), max_size=60))
def test_there_is_no_way_back_and_no_state_is_skipped(moves: list[Move]) -> None:
    order = list(State)
    steps = [order.index(later) - order.index(earlier) for earlier, later in pairwise(moved(moves))]
    assert set(steps) <= {0, 1}


@given(st.lists(st.sampled_from(Move), max_size=60))
def test_there_is_no_back_door_to_the_names(moves: list[Move]) -> None:
    """Whoever reaches a state has made every move that leads to it, in order."""
    reached = list(State).index(moved(moves)[-1])
    left = iter(moves)
    assert all(move in left for move in WAY[:reached])


def test_the_whole_way_leads_from_draft_to_revealed() -> None:
    assert moved(list(WAY)) == list(State)
