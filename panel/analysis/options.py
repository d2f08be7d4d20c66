"""The options of `analyse` on the command line, and what they ask of the analysis."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from panel.analysis.command import Outcome

_KINDS = (
    "What the table holds: scores; ranking; forced-choice; sequential; preference; a-not-a; same-different; "
    "check-all; just-right; cooling; studies. An unknown name lists the columns that each needs."
)
_TABLE, _TEST = "Columns of the table", "What the kind of table asks for"

File = Annotated[Path, typer.Argument(help="A table: CSV, TSV or XLSX.")]
KindName = Annotated[str, typer.Option("--as", metavar="KIND", help=_KINDS)]
AsJson = Annotated[bool, typer.Option("--json", help="Print everything that the results hold, as JSON.")]
Html = Annotated[Path | None, typer.Option(help="Write the report as one HTML file.")]
Alpha = Annotated[float, typer.Option(help="Significance level.", min=0.0001, max=0.5)]


Taster = Annotated[str, typer.Option(help="Column of tasters.", rich_help_panel=_TABLE)]
Sample = Annotated[str, typer.Option(help="Column of samples.", rich_help_panel=_TABLE)]
Score = Annotated[
    list[str] | None,
    typer.Option(help="Column of scores, terms or scales; repeat for several.", rich_help_panel=_TABLE),
]
Replicate = Annotated[str, typer.Option(help="Column of repeats.", rich_help_panel=_TABLE)]
Position = Annotated[
    str, typer.Option(help="Column of the place in the serving order.", rich_help_panel=_TABLE)
]
Condition = Annotated[
    str, typer.Option(help="Column of the way of serving, or the session.", rich_help_panel=_TABLE)
]
Attribute = Annotated[
    str, typer.Option(help="Column that names the attribute of each row.", rich_help_panel=_TABLE)
]
Wide = Annotated[
    bool, typer.Option(help="A row for each taster, a column for each sample.", rich_help_panel=_TABLE)
]
Column = Annotated[
    list[str] | None,
    typer.Option(
        metavar="ROLE=HEADING",
        help="Any other column: correct, winner, loser, first, second, choice, served, answer, liking, minutes, "
        "temperature, series, study, method, answers.",
        rich_help_panel=_TABLE,
    ),
]
Reference = Annotated[
    str, typer.Option(help="Sample that the others are compared with.", rich_help_panel=_TEST)
]
Duplicates = Annotated[
    str,
    typer.Option(metavar="A,B", help="Two samples that are one product served twice.", rich_help_panel=_TEST),
]
Correction = Annotated[
    str,
    typer.Option(help="Over attributes: holm, benjamini-hochberg or none.", rich_help_panel=_TEST),
]
KindOf = Annotated[
    list[str] | None,
    typer.Option(
        "--kind",
        metavar="ATTRIBUTE=KIND",
        help="What an attribute is: liking, intensity, jar (just about right) or check-all.",
        rich_help_panel=_TEST,
    ),
]
Order = Annotated[
    str,
    typer.Option(
        metavar="A,B,C",
        help="Ranking: the order predicted beforehand, first-ranked first.",
        rich_help_panel=_TEST,
    ),
]
Test = Annotated[
    str,
    typer.Option(
        help="Forced choice: triangle, duo-trio, 2-AFC, 3-AFC, tetrad or two-out-of-five.",
        rich_help_panel=_TEST,
    ),
]
PdLimit = Annotated[
    float | None,
    typer.Option(
        help="Forced choice: share of tasters who may tell the samples apart, for similarity; sequential: "
        "the share that matters.",
        rich_help_panel=_TEST,
    ),
]
DPrime = Annotated[
    float | None, typer.Option(help="Sequential: the d' that matters, instead.", rich_help_panel=_TEST)
]
Beta = Annotated[
    float, typer.Option(help="Risk of missing that difference.", rich_help_panel=_TEST, min=0.0001, max=0.5)
]
MostTasters = Annotated[
    int | None, typer.Option(help="Sequential: where to stop undecided.", rich_help_panel=_TEST)
]
OneSided = Annotated[
    bool,
    typer.Option(help="Preference: only whether the first by name is preferred.", rich_help_panel=_TEST),
]
Drop = Annotated[
    bool,
    typer.Option(
        help="Preference: leave out “no preference” instead of sharing it equally.", rich_help_panel=_TEST
    ),
]
JustRight = Annotated[
    float, typer.Option(help="Just-about-right scales: the middle point.", rich_help_panel=_TEST)
]
Ambient = Annotated[
    float | None, typer.Option(help="Cooling: temperature of the surroundings.", rich_help_panel=_TEST)
]
Window = Annotated[
    str,
    typer.Option(
        metavar="LOW,HIGH", help="Cooling: temperatures between which it is good.", rich_help_panel=_TEST
    ),
]


def outcome_of(data: bytes, name: str, given: Mapping[str, Any]) -> Outcome:
    """The analysis of a file under the options as typed. typer.BadParameter for one that cannot be read."""
    from panel.analysis.command import Options, run_as
    from panel.analysis.kind_report import Asked
    from panel.analysis.kinds import KINDS, kinds_help
    from panel.analysis.mapping import Mapping as Columns

    if given["kind"] not in KINDS:
        raise typer.BadParameter(f"no kind of table is called {given['kind']!r}.\n\n{kinds_help()}")
    scores = tuple(given["score"] or ())
    roles = ("taster", "sample", "replicate", "position", "condition", "attribute")
    named = {role: given[role] for role in roles if given[role]}
    mapping = Columns(
        layout="wide" if given["wide"] else None,
        scores=() if given["wide"] else scores,
        samples=scores if given["wide"] else (),
        **{role: named.get(role) for role in roles},
    )
    options = Options(
        mapping,
        given["reference"] or None,
        given["alpha"],
        correction=given["correction"],
        kinds=_pairs(given["kind_of"], "--kind"),
        roles=dict.fromkeys(_listed(given["duplicates"]), "duplicate"),
    )
    asked = Asked(
        columns={**named, **_pairs(given["column"], "--column")},
        terms=scores,
        order=tuple(_listed(given["order"])),
        window=_window(given["window"]),
        **{one: given[one] for one in _SINGLE},
    )
    return run_as(given["kind"], data, name, asked, options)


_SINGLE = (
    "alpha",
    "beta",
    "test",
    "pd_limit",
    "d_prime",
    "most_tasters",
    "one_sided",
    "drop",
    "ambient",
    "just_right",
)


def _pairs(typed: Sequence[str] | None, option: str) -> dict[str, str]:
    found = {}
    for text in typed or ():
        name, mark, value = text.partition("=")
        if not mark or not name or not value:
            raise typer.BadParameter(f"{option}: {text!r} should read NAME=VALUE")
        found[name.strip()] = value.strip()
    return found


def _listed(text: str) -> list[str]:
    return [part.strip() for part in text.split(",") if part.strip()]


def _window(text: str) -> tuple[float, float] | None:
    if not text:
        return None
    try:
        low, high = (float(part) for part in text.split(","))
    except ValueError:
        raise typer.BadParameter(f"--window: {text!r} should read LOW,HIGH, as in 55,65") from None
    return low, high
