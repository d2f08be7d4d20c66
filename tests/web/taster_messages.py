"""Every English sentence that a taster can meet, gathered from where it stands: templates, tables, handlers."""

from __future__ import annotations

import ast
import re
from importlib.resources import files
from pathlib import Path

from panel.study import cautions, doses, scales, set_answers
from panel.study.life import RULES, Move

ROOT = Path(__file__).parent.parent.parent
IN_TEMPLATE = re.compile(r'_\("((?:[^"\\]|\\.)+)"')
SPEAKING = ("taster_notice", "said", "say")


def in_templates() -> set[str]:
    found: set[str] = set()
    for path in sorted((ROOT / "templates" / "taster").glob("*.html")):
        text = path.read_text(encoding="utf-8")
        found |= set(IN_TEMPLATE.findall(text))
        for numerals in re.findall(r"set numerals = \[([^\]]+)\]", text):
            found |= set(re.findall(r'"(\w+)"', numerals))
    return found


def in_tables() -> set[str]:
    found = {cautions.ALWAYS, cautions.CONSENT, *cautions.ALLERGENS.values(), *cautions.CAUTIONS.values()}
    for scale in scales.SCALES.values():
        found |= {scale.missing, scale.hint, scale.low_anchor, scale.high_anchor}
        found |= {point.label for point in scale.points}
    for wording in vars(scales).values():
        if isinstance(wording, scales.SetWording):
            found |= {wording.asks, wording.by_liking, wording.hint, wording.missing, wording.known}
    found |= {words for kind in set_answers.SET_KINDS.values() for _, words in kind.words}
    found |= {set_answers.NO_PREFERENCE_WORDS, scales.CANNOT_TELL_WORDS}
    found |= {text for agent in doses.AGENTS for text in (agent.told, agent.told_at_once)}
    return found | {RULES[Move.JOIN].early, RULES[Move.JOIN].late}


def in_handlers() -> set[str]:
    """What is handed to the page of a notice, to `said`, to a question's words, or to a name that is."""
    found: set[str] = set()
    paths = [path for room in ("web", "study", "printing") for path in (ROOT / "panel" / room).glob("*.py")]
    ours = ("taster", "rhythm", "asked", "trying", "answers", "scales", "notices", "ballots")
    for path in paths:
        if path.stem.startswith(ours):
            tree = ast.parse(path.read_text(encoding="utf-8"))
            for node in ast.walk(tree):
                found |= _spoken(node)
    return {text for text in found if " " in text or text[:1].isupper()}


def _spoken(node: ast.AST) -> set[str]:
    if isinstance(node, ast.Call):
        name = node.func.id if isinstance(node.func, ast.Name) else ""
        values = [*node.args, *(keyword.value for keyword in node.keywords if keyword.arg in LABELS)]
        if name in SPEAKING or name == "Pick":
            return _constants(values)
        return _constants([k.value for k in node.keywords if k.arg in LABELS])
    if isinstance(node, ast.Assign) and any(
        (isinstance(t, ast.Name) and t.id in NAMES) or isinstance(t, ast.Tuple) for t in node.targets
    ):
        return _constants([node.value])
    return set()


LABELS = ("link_label", "text", "missing", "hint", "known")
NAMES = ("text", "why", "reason", "ended", "title", "label", "problem", "AGAIN", "ONCE")


def _constants(values: list[ast.expr]) -> set[str]:
    found: set[str] = set()
    for value in values:
        parts = [value.body, value.orelse] if isinstance(value, ast.IfExp) else [value]
        if isinstance(value, ast.Tuple):
            parts = value.elts
        for part in parts:
            if isinstance(part, ast.IfExp | ast.Tuple):
                found |= _constants([part])
            elif isinstance(part, ast.Constant) and isinstance(part.value, str):
                found.add(part.value)
    return found


def every_message() -> set[str]:
    """All of them, but for the empty one."""
    more = {"Back to the study", "Back to the notice"}
    return (in_templates() | in_tables() | in_handlers() | more) - {""}


def catalogue_file(code: str) -> Path:
    return Path(str(files("panel") / "languages" / f"{code}.po"))
