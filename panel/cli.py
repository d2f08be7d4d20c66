"""The command line: serve, demo, analyse, report, verify, bring-back, backup, restore, password."""

from __future__ import annotations

import getpass
import json
import sys
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console

from panel.analysis import options
from panel.settings import Settings

if TYPE_CHECKING:
    from panel.analysis.command import Outcome

app = typer.Typer(help=__doc__, no_args_is_help=True, add_completion=False, pretty_exceptions_enable=False)
say = Console(highlight=False, soft_wrap=True)

DataFolder = Annotated[Path | None, typer.Option("--data", help="Folder of the database and the server key.")]
BaseUrl = Annotated[str, typer.Option(help="Address that phones open; empty to find this machine's own.")]
Port = Annotated[int | None, typer.Option(help="Port to listen on.", min=1, max=65535)]


def settings_from(**given: object) -> Settings:
    """The settings from the environment, with what the command line gives on top. A wrong one ends the program."""
    from pydantic import ValidationError

    try:
        return Settings(**{name: value for name, value in given.items() if value not in (None, "")})  # type: ignore[arg-type]
    except ValidationError as error:
        for wrong in error.errors():
            said = str(wrong["msg"]).removeprefix("Value error, ")
            print(f"PANEL_{str(wrong['loc'][0]).upper()}: {said}.", file=sys.stderr)
        raise typer.Exit(2) from None


@app.command()
def serve(data: DataFolder = None, base_url: BaseUrl = "", port: Port = None, host: str = "") -> None:
    """Start the server that organisers and phones use."""
    import uvicorn

    from panel.analysis.libraries import load_in_the_background
    from panel.app import create_app
    from panel.store.access import has_organiser

    settings = settings_from(data=data, base_url=base_url, port=port, host=host)
    application = create_app(settings)
    house = application.state.house
    say.print(f"[bold]Tasting panel[/] at {house.base_url}/ (data in {settings.data})")
    with house.database.read() as session:
        if not has_organiser(session):
            say.print(
                f"First start: open {house.base_url}/first-start?code={house.tokens.first_start_code()} "
                "and set the organiser's password."
            )
    load_in_the_background()
    uvicorn.run(application, host=settings.host, port=settings.port, log_level="warning", access_log=False)


@app.command()
def demo(base_url: BaseUrl = "", port: Port = None, host: str = "") -> None:
    """Start the server on made-up data: five rice cookers in five studies, one of them being tasted."""
    from demo.show import show

    show(settings_from(base_url=base_url, port=port, host=host), say)


@app.command()
def password(
    name: Annotated[str, typer.Argument(help="The organiser's name.")],
    data: DataFolder = None,
    new: Annotated[bool, typer.Option("--new", help="Add an organiser of that name.")] = False,
) -> None:
    """Set an organiser's password, or add an organiser."""
    from panel.store.access import add_organiser, set_password
    from panel.store.database import Database

    settings = settings_from(data=data)
    settings.data.mkdir(parents=True, exist_ok=True)
    database = Database(settings.database_url)
    database.migrate()
    typed = getpass.getpass("New password: ") if sys.stdin.isatty() else sys.stdin.readline().rstrip("\n")
    try:
        with database.write() as session:
            (add_organiser if new else set_password)(session, name, typed)
    except ValueError as error:
        say.print(f"[red]{error}[/]")
        raise typer.Exit(1) from None
    finally:
        database.close()
    say.print(f"The password of {name} is set.")


@app.command()
def analyse(
    context: typer.Context,
    file: options.File,
    kind: options.KindName = "scores",
    taster: options.Taster = "",
    sample: options.Sample = "",
    score: options.Score = None,
    replicate: options.Replicate = "",
    position: options.Position = "",
    condition: options.Condition = "",
    attribute: options.Attribute = "",
    wide: options.Wide = False,
    column: options.Column = None,
    reference: options.Reference = "",
    duplicates: options.Duplicates = "",
    correction: options.Correction = "holm",
    kind_of: options.KindOf = None,
    order: options.Order = "",
    test: options.Test = "triangle",
    pd_limit: options.PdLimit = None,
    d_prime: options.DPrime = None,
    beta: options.Beta = 0.05,
    most_tasters: options.MostTasters = None,
    one_sided: options.OneSided = False,
    drop: options.Drop = False,
    just_right: options.JustRight = 3.0,
    ambient: options.Ambient = None,
    window: options.Window = "",
    alpha: options.Alpha = 0.05,
    as_json: options.AsJson = False,
    html: options.Html = None,
) -> None:
    """Analyse a table: the same report as for a study run here. What is guessed about its columns is said."""
    outcome = options.outcome_of(_read(file), file.name, context.params)
    _tell(outcome, as_json, html)


def _tell(outcome: Outcome, as_json: bool, html: Path | None) -> None:
    if html is not None and outcome.ok:
        html.write_text(_one_file(outcome), encoding="utf-8")
    if as_json:
        print(json.dumps(outcome.to_dict(), ensure_ascii=False, indent=1))
    elif html is None or not outcome.ok:
        print(outcome.text(), end="", file=sys.stdout if outcome.ok else sys.stderr)
    else:
        say.print(f"The report is in {html}.")
    if not outcome.ok:
        raise typer.Exit(1)


@app.command()
def report(
    study: Annotated[
        str, typer.Argument(help="The study's title, a part of it that no other has, or its id.")
    ],
    data: DataFolder = None,
    pdf: Annotated[
        Path | None, typer.Option(help="Write the report as PDF; needs Chromium or Chrome here.")
    ] = None,
    html: Annotated[Path | None, typer.Option(help="Write the report as one file for any browser.")] = None,
    paper: Annotated[str, typer.Option(help="Paper of the PDF: A4 or letter.")] = "A4",
) -> None:
    """Write a study's report as it stands: by blind letter, or by name once the names are revealed."""
    from panel.printing.browser_pdf import PAPERS, NoBrowserError, pdf_of
    from panel.store.studies import ForbiddenMoveError
    from panel.web.report_file import report_of_study_called

    wanted = next((name for name in PAPERS if name.lower() == paper.lower()), None)
    if wanted is None or (pdf is None and html is None):
        say_what = (
            f"--paper is A4 or letter, not {paper}."
            if wanted is None
            else "Say --pdf FILE, --html FILE, or both."
        )
        print(say_what, file=sys.stderr)
        raise typer.Exit(2)
    try:
        page = report_of_study_called(settings_from(data=data), study, wanted)
        if html is not None:
            html.write_text(page, encoding="utf-8")
            print(f"The report is in {html}.")
        if pdf is not None:
            pdf.write_bytes(pdf_of(page))
            print(f"The report is in {pdf}.")
    except (LookupError, ForbiddenMoveError, NoBrowserError, OSError) as error:
        print(error, file=sys.stderr)
        raise typer.Exit(1) from None


@app.command()
def verify(
    file: Annotated[Path, typer.Argument(help="A study's bundle (ZIP), as exported.")],
    head: Annotated[
        str, typer.Option(help="A hash of the log known from elsewhere: closing sheet or receipt.")
    ] = "",
) -> None:
    """Check a bundle offline: seal, log, answers and results, from its files alone."""
    from panel.analysis.verification import verify_bundle
    from panel.study.bundle import NotABundleError
    from panel.web.verdict_bundle import verdict_check

    content = _read(file)
    try:
        verification = verify_bundle(content, head).with_check(verdict_check(content))
    except NotABundleError as error:
        print(error, file=sys.stderr)
        raise typer.Exit(1) from None
    for check in verification.checks:
        mark = {True: "holds   ", False: "BROKEN  ", None: "not yet "}[check.holds]
        print(f"{mark} {check.what}: {check.text}")
    failure = verification.first_failure
    if failure is not None:
        print(f"\nThe first thing that does not hold: {failure.what}.")
        raise typer.Exit(1)


@app.command(name="bring-back")
def bring_back(
    file: Annotated[Path, typer.Argument(help="A study's bundle (ZIP), taken after closing.")],
    data: DataFolder = None,
) -> None:
    """Bring a study back from its files: verified first, then read-only in the archive."""
    from panel.app import create_app
    from panel.store.bringing_back import CannotComeBackError
    from panel.study.bundle import NotABundleError
    from panel.web.bringing_back import brought_back

    content = _read(file)
    house = create_app(settings_from(data=data)).state.house
    try:
        study = brought_back(house, content, "the command line")
    except (NotABundleError, CannotComeBackError) as error:
        print(error, file=sys.stderr)
        raise typer.Exit(1) from None
    finally:
        house.database.close()
    print(f"“{study.title}” is back in the archive, {study.state} and read-only.")


@app.command()
def backup(
    file: Annotated[Path, typer.Argument(help="File to write, or to look at with --check.")],
    data: DataFolder = None,
    check: Annotated[bool, typer.Option("--check", help="Only check a backup that exists.")] = False,
) -> None:
    """Copy all data into one file while the server may be running, and check the copy."""
    from panel.store.backups import BackupError, back_up, check_backup

    settings = settings_from(data=data)
    try:
        report = check_backup(file) if check else back_up(settings.database_url, settings.data, file)
    except BackupError as error:
        print(error, file=sys.stderr)
        raise typer.Exit(1) from None
    print(
        f"{file} of {report.made_at} opens and is whole: {report.studies} studies, {report.events} events, every log "
        "follows from its beginning."
    )
    if report.drafts:
        print(
            f"It holds {report.drafts} drafts with the names of their samples in plain. Delete it once they are sealed."
        )


@app.command()
def restore(
    file: Annotated[Path, typer.Argument(help="A backup.")],
    data: DataFolder = None,
) -> None:
    """Put a backup in place of the data, which is moved aside. Stop the server first."""
    from panel.store.backups import BackupError
    from panel.store.backups import restore as put_back

    settings = settings_from(data=data)
    try:
        report, aside = put_back(file, settings.database_url, settings.data)
    except BackupError as error:
        print(error, file=sys.stderr)
        raise typer.Exit(1) from None
    print(f"The data of {report.made_at} is back in {settings.data}: {report.studies} studies.")
    if aside is not None:
        print(
            f"What was there before is in {aside}. It may hold names in plain: delete it when you no longer need it."
        )


def _read(file: Path) -> bytes:
    try:
        return file.read_bytes()
    except OSError as error:
        print(f"{file} cannot be read: {error.strerror}. Check the name and try again.", file=sys.stderr)
        raise typer.Exit(1) from None


def _one_file(outcome: Outcome) -> str:
    from panel.web.local import local_of
    from panel.web.pages import make_environment

    local = local_of(settings_from())
    stylesheet = (files("panel") / "static" / "panel.css").read_text(encoding="utf-8")
    return (
        make_environment(local)
        .get_template("report/alone.html")
        .render(view=local.view(outcome.view()), stylesheet=stylesheet)
    )
