"""The passphrase of a seal as it comes in a form: one part, or two that two people type."""

from __future__ import annotations

from typing import TYPE_CHECKING

from panel.study.happenings import PARTS, SELF, SPLIT
from panel.study.problems import Problem
from panel.study.seal import SHORTEST_PASSPHRASE, joined
from panel.web.slow_down import too_many_tries

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fastapi import Request

HOLDERS = {"self": SELF, "split": SPLIT, "parts": PARTS}
WAIT = Problem("passphrase", "wait", "Too many tries from this device. Wait five minutes, then try again.")


def phrase_in(sent: Mapping[str, str]) -> str:
    """What was typed to open the seal, both parts where there are two."""
    return joined(sent.get("passphrase", ""), sent.get("passphrase_2", ""))


def holder_in(sent: Mapping[str, str]) -> str:
    """Who keeps the passphrase, as chosen in the form of sealing."""
    return HOLDERS.get(sent.get("holder", ""), SELF)


def problems_with_new(sent: Mapping[str, str]) -> tuple[Problem, ...]:
    """What is wrong with a passphrase about to be set; both parts where two people hold it."""
    parts = [("passphrase", "again", "passphrase")]
    if holder_in(sent) == PARTS:
        parts.append(("passphrase_2", "again_2", "second person’s part"))
    elif sent.get("passphrase_2"):
        text = "A second part was typed, but two people are not chosen below. Choose them, or empty the second part."
        return (Problem("passphrase_2", "not_wanted", text),)
    for name, again, words in parts:
        if len(sent.get(name, "")) < SHORTEST_PASSPHRASE:
            text = f"Choose a {words} of at least {SHORTEST_PASSPHRASE} characters; several words are easiest to keep."
            return (Problem(name, "too_short", text),)
        if sent[name] != sent.get(again, ""):
            what = "The two passphrases differ." if name == "passphrase" else "The second part differs."
            return (Problem(again, "differs", f"{what} Type the same one twice."),)
    return ()


def too_many_phrases(request: Request) -> bool:
    """Whether this device has tried to open seals too often."""
    return too_many_tries(request, "passphrase")
