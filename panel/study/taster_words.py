"""Every built-in sentence that the tasters of a study can read, where they read it, and which of them stay as they are.

An organiser's own words stand in `Plan.words`, keyed by the English sentence, which is also the key of the catalogues.
"""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from panel.study.cautions import ALLERGENS, ALWAYS, CAUTIONS, CONSENT
from panel.study.doses import AGENTS
from panel.study.life import RULES, Move
from panel.study.notices import AGAIN, ONCE
from panel.study.scales import CANNOT_TELL_WORDS, SCALES
from panel.study.set_answers import NO_PREFERENCE_WORDS, set_kind

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from panel.study.scales import Scale
    from panel.study.test_methods import TestMethod

PREFIX = "word-"
QUESTION = "The question"
ANSWERS = "Answers"
LABEL, SENTENCE = 80, 600  # most characters of own words, by whether the sentence they replace is a short one
SHORT = 40
SAFETY = "Stays as it is: cautions and allergens may be added to, in the draft, but not taken away."
KEPT = "Stays as it is: it says what this program keeps. Add to it in the draft."
PLACEHOLDER = re.compile(r"\{(\w+)\}")
STANDS_FOR = {
    "all": "how many there are",
    "allergens": "the list of allergens",
    "attribute": "the attribute that is compared",
    "code": "the code of the cup",
    "codes": "the codes of the cups",
    "continue": "the words of the way on",
    "count": "how many there are",
    "done": "how many have arrived",
    "end": "the words at that end of the line",
    "has": "how many characters were typed",
    "high": "the words or number at the high end",
    "least": "the lowest number",
    "limits": "which numbers fit",
    "low": "the words or number at the low end",
    "missing": "what to do",
    "most": "the largest number",
    "number": "a number",
    "place": "the place",
    "rank": "the rank",
    "rinse": "what to do between samples",
    "seconds": "the number of seconds",
    "step": "the number of the screen",
    "steps": "the number of screens",
    "typed": "what was typed",
    "unit": "the unit",
    "why": "the reason",
}

NOTICE = (
    "What you taste may contain",
    "One list for the whole sitting; it says nothing about any single cup.",
    "No allergen has been declared for this sitting. If you must avoid anything, ask before you taste.",
    "Please mind",
    "What is kept",
    "Try a question first; nothing is stored",
    "Back to the notice",
    "Only to try: nothing is stored",
    "That was it",
    "This was only to try. Nothing has been stored.",
    "Would have been stored:",
    "Back to the study",
    "Your name",
    "I agree and take part",
    "I would rather not",
    "That is quite all right",
    "You are not taking part. No reason is needed, and nothing has been stored.",
    "Read the notice again",
    "For whoever joins now. Tasting already on this phone?",
    "Somebody is tasting on this phone already. Is that you?",
    "Somebody has tasted on this phone already, and everybody takes one place only. Is it somebody else’s turn?",
    "Continue where you were",
    "{continue} (taster {number} on this phone)",
    "Somebody else tastes on this phone",
    "Somebody has begun at this place on another phone. If that was you, go on here: what was sent is safe, "
    "and you continue after it.",
    "Go on here",
    "If it was not you, tell the panel leader.",
)
SCREEN = (
    "{step} of {steps}",
    "Screens answered",
    "Taste",
    "Same cup",
    "Served",
    "Now make the addition to this same cup, taste again, then answer:",
    "Taste these {number}",
    *("two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"),
    "Reference",
    AGAIN,
    ONCE,
    "First:",
    "Time for a break.",
    "Rest for a while before you go on.",
    "I am ready",
    "Wait {seconds} seconds before you taste the next one.",
    "Which code is on the cup in your hand?",
    "Tap the code that is on your cup.",
    "That is not the cup for now. Put it back untasted and look for {code}; if it is not there, call for help.",
    "(if you like)",
    "Once saved, an answer stays as it is.",
    "You can change it until you have finished.",
    "Change an earlier answer",
    "Change your answers",
    "Save the change",
    "Leave it as it is",
    "Save and go on",
    "Save and finish",
    "Go on",
    "Before you go",
)
PHONE = (
    "Saved",
    "Saved on this phone.",
    "Sending…",
    "Saved, after closing",
    "Saved on this phone. 1 screen waits for the network.",
    "Saved on this phone. {count} screens wait for the network.",
    "Saved on this phone, but the server does not take it. Please call the panel leader.",
    "Send now",
    "Call for help",
    "Calling…",
    "Help is on its way. Stay where you are.",
    "The call did not get through. Please raise your hand.",
    "Continue on another phone",
    "There, open this address and type this code. Wait until this phone says that everything is saved.",
    "Stop and step out",
    "No reason is needed and none is kept. You cannot come back to this ballot afterwards.",
    "Step out now",
)
PROBLEMS = (
    "There is a problem",
    "Error:",
    "Shorten the name to {most} characters; it has {has}.",
    "Too many tries from this device. Wait five minutes, then try again.",
    "Please wait",
    "Try again",
    "Back to your ballot",
    "To your ballot",
    "Not this cup now",
    "This is cup {code}. {why}",
    "You have answered for this cup already.",
    "Leave it for later.",
    "Next on your ballot: {codes}.",
    "This ballot has no such screen.",
)
PAUSES = (
    "A short pause",
    "Everybody waits for a moment. Please do not taste on. This page goes on by itself.",
    "That is all for now",
    "Your answers have arrived and are safe.",
    "The rest follows at the next sitting: open this page again then, on this phone.",
    "You have stepped out",
    "Thank you for coming. No reason is needed and none is kept.",
    "What you had sent before stays under a number alone.",
    "The sitting is closed",
    "No further screen can be opened. Thank you for tasting.",
    "{done} of {all} screens have arrived and are safe. Answers still on this phone are sent from here and marked "
    "as late.",
    "This tasting is over",
    "Its answers are kept; nothing can be added to them.",
    "Not open",
    "Not open yet",
    RULES[Move.JOIN].early,
    RULES[Move.JOIN].late,
    "This sitting has ended, and the next one is not open yet.",
    "This sitting has ended. If there is another one, its code is on the screen.",
    "All places are taken",
    "Please tell the panel leader: the plan holds no further place.",
    "Very many places were taken from your network in the last minutes. Tell the panel leader, who can let you in at "
    "once, or try again in five minutes.",
    "This place is taken",
    "Please tell the panel leader, who has another card for you.",
)
THANKS = (
    "Thank you",
    "All your answers have arrived and are safe. You may close this page.",
    "Receipt",
    "Note it if you like: it lets anyone check later that nothing was changed.",
    "That was the last one",
    "Your answers are saved on this phone and are on their way. Keep this page open until it says that they have "
    "arrived.",
)
PAPER = (
    "Place {number}",
    "place code {code}",
    "Place {number} · {step} of {steps}",
    "Contains or may contain: {allergens}.",
    "No allergens were declared.",
    "Between samples: {rinse}",
    "I have read this and take part.",
    "Taste in the order below, one after the other.",
    "Do not go back to an earlier answer.",
    "You may correct an earlier answer: cross it out and write the new one beside it.",
    "Reference above.",
    "Cups above.",
    "group 1 ☐   group 2 ☐",
    "place ____ of {count}",
    "Thank you. Hand this ballot in; please tell nobody what you wrote.",
)
LINE = (
    "{place} of 11, from {low} to {high}",
    "{place} per cent from {low} to {high}",
    "not answered yet",
    "Not answered yet. Tap the line.",
    "Answered. Tap again, or move it finely.",
    "A little towards {end}",
)
RANKS = (
    "place {rank} of {count}",
    "no place yet",
    "Tap the cup for place {rank} of {count}.",
    "Every cup has its place. Tap one to take it out again.",
)
NUMBERS = (
    "Write a number from {least} to {most}{unit}.",
    "Write a number of at least {least}{unit}.",
    "Write a number of at most {most}{unit}.",
    "“{typed}” does not fit. {limits}",
)
OFF_LINE = ("“{typed}” is not on the line. {missing}",)
OFF_SCALE = ("“{typed}” is not one of the answers. {missing}",)
TOO_LONG = ("Shorten this to {most} characters; it has {has}.",)
GROUPS = ("Group 1", "Group 2")
BY_KIND = {
    "line": (*LINE, *OFF_LINE),
    "number": NUMBERS,
    "text": TOO_LONG,
    "category": OFF_SCALE,
    "choice": OFF_SCALE,
}


@dataclass(frozen=True, slots=True)
class Line:
    """One sentence. text: in English, its key; locked: why it stays as it is, "" where own words may stand for it."""

    text: str
    locked: str = ""

    @property
    def field(self) -> str:
        """The name of the form field for own words."""
        return field_of(self.text)

    @property
    def longest(self) -> int:
        """Most characters of own words."""
        return LABEL if len(self.text) <= SHORT else SENTENCE

    @property
    def placeholders(self) -> tuple[str, ...]:
        """What the program fills in, each once."""
        return tuple(dict.fromkeys(PLACEHOLDER.findall(self.text)))


@dataclass(frozen=True, slots=True)
class Part:
    """The sentences that are read in one place."""

    title: str
    lines: tuple[Line, ...]


def field_of(text: str) -> str:
    """The name of the form field for own words in place of that sentence."""
    return PREFIX + hashlib.sha256(text.encode("utf-8")).hexdigest()[:12]


def parts_of(method: TestMethod, scales: Iterable[Scale]) -> tuple[Part, ...]:
    """All that tasters of a study with that method and those scales can read, each sentence once."""
    used = {scale.id for scale in scales}
    found = [
        Part(f"{ANSWERS}: {scale.name}", tuple(_of_scale(scale)))
        for scale in SCALES.values()
        if scale.id in used
    ]
    if method.wording is not None:
        found.insert(0, Part(f"{QUESTION}: {method.name}", tuple(_of_method(method))))
    found += [
        Part("On each screen", _lines(SCREEN)),
        Part("Before they begin", (*_lines(NOTICE), *_locked())),
        Part("Thank you", _lines(THANKS)),
        Part("What the phone says", _lines(PHONE)),
        Part("Pauses, closing and stepping out", _lines(PAUSES)),
        Part("When something is not right", _lines(PROBLEMS)),
        Part("On paper ballots", _lines(PAPER)),
    ]
    return tuple(_each_once(found))


def changed(words: Mapping[str, str], parts: Iterable[Part]) -> dict[str, tuple[tuple[str, str], ...]]:
    """Part -> sentences with own words in their place: the English one and the own; no part without any."""
    found = {
        part.title: tuple((line.text, words[line.text]) for line in part.lines if line.text in words)
        for part in parts
    }
    return {title: lines for title, lines in found.items() if lines}


def _of_scale(scale: Scale) -> Iterator[Line]:
    texts = [point.label for point in scale.points]
    texts += [scale.low_anchor, scale.high_anchor, scale.hint, scale.missing, *BY_KIND.get(scale.kind, ())]
    if scale.may_not_tell:
        texts.append(CANNOT_TELL_WORDS)
    yield from (Line(text) for text in texts if text)


def _of_method(method: TestMethod) -> Iterator[Line]:
    wording, kind = method.wording, set_kind(method)
    assert wording is not None
    asked = (wording.asks, wording.by_liking, wording.hint, wording.known, wording.missing)
    yield from (Line(text, wording.locked) for text in asked if text)
    yield from (Line(words) for _, words in kind.words)
    if method.analysis == "preference":
        yield Line(NO_PREFERENCE_WORDS)
    yield from _lines({"groups": GROUPS, "order": RANKS}.get(kind.form, ()))


def _lines(texts: Iterable[str]) -> tuple[Line, ...]:
    return tuple(Line(text) for text in texts)


def _locked() -> Iterator[Line]:
    yield from (Line(text, SAFETY) for text in (*CAUTIONS.values(), ALWAYS, *ALLERGENS.values()))
    yield from (Line(text, SAFETY) for agent in AGENTS for text in (agent.told, agent.told_at_once) if text)
    yield Line(CONSENT, KEPT)


def _each_once(parts: Iterable[Part]) -> Iterator[Part]:
    seen: set[str] = set()
    for part in parts:
        lines = tuple({line.text: line for line in part.lines if line.text not in seen}.values())
        seen |= {line.text for line in lines}
        if lines:
            yield Part(part.title, lines)
