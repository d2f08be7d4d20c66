"""Which column is what: as the user says, and for the rest a guess that is shown."""

from __future__ import annotations

import dataclasses
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from panel.analysis.table import Problem, is_missing, number

if TYPE_CHECKING:
    from panel.analysis.table import RawTable

Layout = Literal["long", "wide"]

# Headings that people give, folded to letters and digits. Common practice, no source.
WORDS: dict[str, tuple[str, ...]] = {
    "taster": (
        *("taster", "tasterid", "panelist", "panellist", "panelistid", "assessor", "judge", "subject"),
        *("participant", "consumer", "respondent", "rater", "tester", "person", "juge", "prüfer", "user"),
    ),
    "sample": ("sample", "samplename", "product", "treatment", "item", "code", "variety", "probe", "produit"),
    "replicate": ("replicate", "replication", "rep", "repetition", "repeat", "replicates"),
    "position": ("position", "servingposition", "servingorder", "order", "pos", "rank order", "place"),
    "condition": ("condition", "sitting", "session", "time", "week", "day", "round", "serving", "servedas"),
    "attribute": ("attribute", "question", "variable", "descriptor", "term"),
}
ROW_NUMBER_WORDS = frozenset({"", "rownames", "row", "rownumber", "index", "unnamed0", "id", "no", "nr"})
ROLES = ("taster", "sample", "replicate", "position", "condition", "attribute")


@dataclass(frozen=True, slots=True)
class Mapping:
    """Which columns of a table hold what. Empty fields of a wish are guessed.

    layout : "long" (a row per score) or "wide" (a row per taster, a column per sample)
    taster, sample, replicate, position, condition : headings; taster None in a wide table whose rows
        are the tasters, sample None in a wide table
    scores : long: the score columns, one attribute each
    attribute : long: a column that names the attribute of each row's one score
    samples : wide: the columns of scores, each named after its sample
    """

    layout: Layout | None = None
    taster: str | None = None
    sample: str | None = None
    scores: tuple[str, ...] = ()
    replicate: str | None = None
    position: str | None = None
    condition: str | None = None
    attribute: str | None = None
    samples: tuple[str, ...] = ()

    def named(self) -> list[str]:
        """Every heading that the mapping uses."""
        single = [getattr(self, role) for role in ROLES]
        return [*(name for name in single if name), *self.scores, *self.samples]

    def to_dict(self) -> dict[str, str | list[str] | None]:
        pairs = ((field.name, getattr(self, field.name)) for field in dataclasses.fields(self))
        return {name: list(value) if isinstance(value, tuple) else value for name, value in pairs}


def complete_mapping(
    raw: RawTable, wishes: Mapping | None = None, *, guess: bool = True
) -> tuple[Mapping | None, list[str], list[Problem]]:
    """A full mapping, what was guessed (sentences), and problems; the mapping is None where those stop it.

    guess : False takes the wishes as all there is, so that a role left empty stays empty
    """
    wishes = wishes or Mapping()
    problems = _unknown_columns(raw, wishes)
    if problems:
        return None, [], problems
    if not guess:
        found = dataclasses.replace(wishes, layout=wishes.layout or ("wide" if wishes.samples else "long"))
        problems = _missing_parts(raw, found)
        said = _explained(found, found, set()) + _unused(raw, found, [])
        return (None, [], problems) if problems else (found, said, [])
    free = [name for name in raw.columns if name not in wishes.named()]
    said, free = _without_row_numbers(raw, free)
    found, guessed = _by_heading(raw, wishes, free)
    free = [name for name in free if name not in found.named()]
    numeric = [name for name in free if _mostly_numbers(raw, name)]
    found = dataclasses.replace(found, layout=wishes.layout or _layout(raw, found, free, numeric))
    if found.layout == "wide":
        found = _wide(wishes, found, numeric)
    else:
        found, numeric = _long(raw, found, free, numeric)
    problems = _missing_parts(raw, found)
    if problems:
        return None, said, problems
    return found, [*said, *_explained(wishes, found, guessed), *_unused(raw, found, said)], []


def _unknown_columns(raw: RawTable, wishes: Mapping) -> list[Problem]:
    has = ", ".join(f'"{name}"' for name in raw.columns[:20])
    missing = [name for name in dict.fromkeys(wishes.named()) if name not in raw.columns]
    problems = [Problem(None, name, f'There is no column "{name}". The table has {has}.') for name in missing]
    used = wishes.named()
    for name in sorted({name for name in used if used.count(name) > 1} - set(missing)):
        text = f'Column "{name}" is named for two purposes. Name another column for one of them.'
        problems.append(Problem(None, name, text))
    return problems


def _folded(name: str) -> str:
    return re.sub(r"[\W_]+", "", name.casefold())


def _without_row_numbers(raw: RawTable, free: list[str]) -> tuple[list[str], list[str]]:
    """Sentences and the columns left after those that only number the rows are set aside."""
    said, left = [], []
    for place, name in enumerate(free):
        unnamed = re.fullmatch(r"column \d+", name) is not None
        if (unnamed or _folded(name) in ROW_NUMBER_WORDS) and place < 2:
            cells = raw.column(name)
            if len(set(cells)) == len(cells) and all(cell.isdigit() or unnamed for cell in cells):
                said.append(f'Column "{name}" only numbers the rows and is not used.')
                continue
        left.append(name)
    return said, left


def _by_heading(raw: RawTable, wishes: Mapping, free: list[str]) -> tuple[Mapping, set[str]]:
    found: dict[str, str] = {}
    for role in ROLES:
        if getattr(wishes, role) is None and not (role == "sample" and wishes.layout == "wide"):
            fits = [name for word in WORDS[role] for name in free if _folded(name) == _folded(word)]
            fits = [name for name in fits if name not in found.values() and _plausible(raw, role, name)]
            if fits:
                found[role] = fits[0]
    return dataclasses.replace(wishes, **found), set(found)  # type: ignore[arg-type]


def _plausible(raw: RawTable, role: str, name: str) -> bool:
    """Whether the values of a column fit the role that its heading suggests (a clock time is no sitting)."""
    cells = raw.column(name)
    if role == "position":
        return all((number(cell, raw.decimal) or 0.5).is_integer() for cell in cells)
    if role in ("replicate", "condition"):
        return len(set(cells)) <= max(2, len(cells) // 2)
    return True


def _mostly_numbers(raw: RawTable, name: str) -> bool:
    filled = [cell for cell in raw.column(name) if not is_missing(cell)]
    return bool(filled) and sum(number(cell, raw.decimal) is not None for cell in filled) > len(filled) / 2


def _layout(raw: RawTable, found: Mapping, free: list[str], numeric: list[str]) -> Layout:
    if found.samples:
        return "wide"
    if found.sample or found.scores or found.attribute:
        return "long"
    once = found.taster is not None and len(set(raw.column(found.taster))) == len(raw.rows)
    if not once and _pair_by_shape(raw, found, [name for name in free if name not in numeric]):
        return "long"
    return "wide" if len(numeric) > 1 else "long"


def _wide(wishes: Mapping, found: Mapping, numeric: list[str]) -> Mapping:
    if wishes.position is None:
        found = dataclasses.replace(found, position=None)  # one row holds several cups
    if found.samples:
        return found
    samples = found.scores or tuple(numeric)
    return dataclasses.replace(found, samples=samples, scores=(), sample=None)


def _long(raw: RawTable, found: Mapping, free: list[str], numeric: list[str]) -> tuple[Mapping, list[str]]:
    """Scores: what is mostly numbers. Tasters and samples without a telling heading: by shape."""
    if found.taster is None or found.sample is None:
        others = [name for name in free if name not in numeric]
        by_shape = _pair_by_shape(raw, found, others)
        found = dataclasses.replace(found, **by_shape)  # type: ignore[arg-type]
        numeric = [name for name in numeric if name not in by_shape.values()]
    if not found.scores:
        scores = tuple(numeric[:1] if found.attribute else numeric)
        found = dataclasses.replace(found, scores=scores)
    return found, numeric


def _pair_by_shape(raw: RawTable, found: Mapping, texts: list[str]) -> dict[str, str]:
    """Two columns of text of which each repeats: the one with more values holds the tasters."""
    levels = {name: len(set(raw.column(name))) for name in texts}
    repeating = sorted(
        (name for name in texts if 1 < levels[name] < len(raw.rows)), key=lambda name: -levels[name]
    )
    open_roles = [role for role in ("taster", "sample") if getattr(found, role) is None]
    if len(repeating) != len(open_roles):
        return {}
    return dict(zip(open_roles, repeating, strict=True))


def _missing_parts(raw: RawTable, found: Mapping) -> list[Problem]:
    has = ", ".join(f'"{name}"' for name in raw.columns[:20])
    say = f"Say which; the table has {has}."
    if found.layout == "wide":
        if found.position:
            text = "In a wide table a row holds several cups, so no column can give their serving position."
            return [Problem(None, found.position, text)]
        if len(found.samples) < 2:
            return [
                Problem(None, None, f"A wide table needs a column of scores for at least two samples. {say}")
            ]
        return []
    parts = {"taster": "the tasters", "sample": "the samples"}
    problems = [
        Problem(None, None, f"No column was recognised as holding {what}. {say}")
        for role, what in parts.items()
        if getattr(found, role) is None
    ]
    if not found.scores:
        problems.append(Problem(None, None, f"No column was recognised as holding scores. {say}"))
    if found.attribute and len(found.scores) > 1:
        text = f'With attributes named in column "{found.attribute}" there can be only one column of scores.'
        problems.append(Problem(None, found.attribute, text))
    return problems


def _explained(wishes: Mapping, found: Mapping, guessed: set[str]) -> list[str]:
    said = []
    if found.layout == "wide" and not wishes.samples:
        names = ", ".join(f'"{name}"' for name in found.samples)
        said.append(f"The table is read as wide, one column per sample: {names} (guessed).")
    if found.layout == "wide" and found.taster is None:
        said.append("No column names the tasters: each row is taken as one taster, numbered from 1.")
    for role in ROLES:
        name = getattr(found, role)
        if name and getattr(wishes, role) is None:
            how = "guessed from its heading" if role in guessed else "guessed from its values"
            said.append(f'Column "{name}" is read as the {role} ({how}).')
    if found.layout == "long" and not wishes.scores:
        names = ", ".join(f'"{name}"' for name in found.scores)
        word = "Column" if len(found.scores) == 1 else "Columns"
        said.append(f"{word} {names} {'is' if len(found.scores) == 1 else 'are'} read as scores (guessed).")
    return said


def _unused(raw: RawTable, found: Mapping, said: list[str]) -> list[str]:
    told = " ".join(said)
    unused = [name for name in raw.columns if name not in found.named() and f'"{name}"' not in told]
    if not unused:
        return []
    return ["Not used: " + ", ".join(f'column "{name}"' for name in unused) + "."]
