"""The life of a study: its states, the moves between them, and what to do when a move is not possible."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class State(StrEnum):
    """Where a study stands. There is no way back."""

    DRAFT = "draft"
    SEALED = "sealed"
    SERVING = "serving"
    CLOSED = "closed"
    SIGNED = "signed"
    REVEALED = "revealed"


class Move(StrEnum):
    """What somebody wants to do with a study."""

    EDIT = "edit"
    SEAL = "seal"
    PRINT = "print"
    OPEN = "open"
    JOIN = "join"
    ANSWER = "answer"
    CLOSE = "close"
    LOOK_EARLY = "look early"
    READ_REPORT = "read the report"
    EXCLUDE = "exclude"
    SIGN = "sign"
    REVEAL = "reveal"
    EXPORT = "export"
    AMEND = "amend"
    UNBLIND = "unblind one cup"
    MEASURE = "measure"
    RATE_HANDLING = "rate handling"
    DELETE = "delete"


@dataclass(frozen=True, slots=True)
class Rule:
    """From which states a move is allowed, where it leads, and what to do where it is not.

    to : the state after the move; None when it changes no state
    early, late : the sentence for somebody who comes before the first or after the last allowed state
    """

    allowed: tuple[State, ...]
    to: State | None
    early: str
    late: str


_SEALED_ON = (State.SEALED, State.SERVING, State.CLOSED, State.SIGNED, State.REVEALED)

RULES: dict[Move, Rule] = {
    Move.EDIT: Rule(
        (State.DRAFT,),
        None,
        "",
        "The plan is sealed and can no longer be changed. Copy the study to plan another.",
    ),
    Move.SEAL: Rule((State.DRAFT,), State.SEALED, "", "This study is already sealed."),
    Move.PRINT: Rule(
        (State.SEALED, State.SERVING, State.CLOSED),
        None,
        "Seal the study first: only then are codes and serving orders final.",
        "Tasting is over and signed; there is nothing left to print.",
    ),
    Move.OPEN: Rule(
        (State.SEALED,),
        State.SERVING,
        "Seal the study first, print and pour; then open the sitting.",
        "The sitting has been opened already.",
    ),
    Move.JOIN: Rule(
        (State.SERVING,),
        None,
        "The sitting is not open yet. Wait until the organiser opens it, then try again.",
        "The sitting is closed. No new taster can join.",
    ),
    Move.ANSWER: Rule(
        (State.SERVING, State.CLOSED),
        None,
        "The sitting is not open yet. Wait until the organiser opens it.",
        "The results are signed. An answer that arrives now is kept on record but no longer counted.",
    ),
    Move.CLOSE: Rule(
        (State.SERVING,),
        State.CLOSED,
        "The sitting has not been opened yet.",
        "The sitting is closed already.",
    ),
    Move.LOOK_EARLY: Rule(
        (State.SERVING,),
        None,
        "Nobody has answered yet: open the sitting first.",
        "Tasting is over: the report says how the test ended.",
    ),
    Move.READ_REPORT: Rule(
        (State.CLOSED, State.SIGNED, State.REVEALED),
        None,
        "Results open when the sitting is closed: looking early and stopping is how false findings are made.",
        "",
    ),
    Move.EXCLUDE: Rule(
        (State.CLOSED,),
        None,
        "Close the sitting first; exclusions are decided on the finished data.",
        "The results are signed; exclusions are fixed.",
    ),
    Move.SIGN: Rule(
        (State.CLOSED,),
        State.SIGNED,
        "Close the sitting first; then read the report and sign it.",
        "The report is signed already.",
    ),
    Move.REVEAL: Rule(
        (State.SIGNED,),
        State.REVEALED,
        "The analyst signs the report first; only then are the names revealed.",
        "The names are revealed already.",
    ),
    Move.EXPORT: Rule(_SEALED_ON, None, "There is nothing to export before the study is sealed.", ""),
    Move.AMEND: Rule(
        _SEALED_ON,
        None,
        "A draft needs no amendment: change it as you like until it is sealed.",
        "",
    ),
    Move.UNBLIND: Rule(
        (State.SEALED, State.SERVING, State.CLOSED, State.SIGNED),
        None,
        "Nothing is sealed yet: the names still stand in the draft.",
        "The names are revealed already; the key is on the study's page.",
    ),
    Move.MEASURE: Rule(
        _SEALED_ON,
        None,
        "Seal first: what is measured and how it is weighed comes before the data.",
        "",
    ),
    Move.RATE_HANDLING: Rule(
        (State.CLOSED, State.SIGNED, State.REVEALED),
        None,
        "Handling opens once tasting is closed: whoever has a product in their hands knows it, and can no longer "
        "taste it blind.",
        "",
    ),
    Move.DELETE: Rule(
        (State.DRAFT, State.SEALED, State.CLOSED, State.SIGNED, State.REVEALED),
        None,
        "",
        "Tasters are tasting. Close the sitting first; then the study can be deleted.",
    ),
}

_ORDER = tuple(State)


def allowed(state: State, move: Move) -> bool:
    """Whether `move` is possible in `state`."""
    return state in RULES[move].allowed


def refusal(state: State, move: Move) -> str | None:
    """Why `move` is not possible in `state`, and what to do instead; None when it is possible."""
    rule = RULES[move]
    if state in rule.allowed:
        return None
    return rule.early if _ORDER.index(state) < _ORDER.index(rule.allowed[0]) else rule.late


def after(state: State, move: Move) -> State:
    """The state that follows; ValueError with the refusal when the move is not possible."""
    reason = refusal(state, move)
    if reason is not None:
        raise ValueError(reason)
    return RULES[move].to or state
