"""What somebody agrees to before their record over studies is kept, word by word. A changed word is a new wording."""

from __future__ import annotations

from panel.study.seal import digest

PANEL_CONSENT = (
    "The organisers of this panel would like to keep a record of your part in tastings over time.",
    "It shows in which signed studies you took part under your name, how much you answered, how well you told samples "
    "apart, how alike your repeats were, and how your level compares with the panel’s.",
    "Only the organisers of this panel see it. It is used to plan training and to look after the panel, and for "
    "nothing else. It is no judgement of your taste: what you like is your own affair.",
    "Nothing about your health is kept.",
    "Taking part in tastings does not depend on this. You may end it at any time, without a reason: your entry is then "
    "deleted, and your scores stay in the studies under a number.",
)


def wording_mark() -> str:
    """The fingerprint of the wording in force."""
    return digest(list(PANEL_CONSENT))
