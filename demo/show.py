"""`python -m panel demo`: the server on made-up data, with five studies and tasters who answer while it runs."""

from __future__ import annotations

import io
import secrets
import signal
import socket
import tempfile
import threading
from contextlib import closing, suppress
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import qrcode
import typer
import uvicorn
from rich.text import Text

from demo.crowd import Crowd
from demo.phone import RefusedError
from demo.stage import ORGANISER, PASSPHRASE, Organiser, Staged, set_the_stage
from panel.app import create_app

if TYPE_CHECKING:
    from types import FrameType

    from rich.console import Console

    from panel.settings import Settings
    from panel.web.house import House

EVERY_INTERFACE = ("0.0.0.0", "::", "")


def show(settings: Settings, say: Console) -> None:
    """Serve the demo until Ctrl+C. Data lies in a fresh temporary folder, which is deleted at the end."""
    listener = _listener(settings, say)
    signal.signal(signal.SIGTERM, _leave)
    with closing(listener), tempfile.TemporaryDirectory(prefix="tasting-panel-demo-") as folder:
        own = settings.model_copy(update={"data": Path(folder), "database": ""})
        application = create_app(own)
        config = uvicorn.Config(
            application, log_level="warning", access_log=False, timeout_graceful_shutdown=2, ws="none"
        )
        server = uvicorn.Server(config)
        play = Play(server, local_address(own), application.state.house, say)
        play.begin()
        try:
            with suppress(KeyboardInterrupt):
                server.run(sockets=[listener])
        finally:
            play.end()
            say.print("The demo has stopped; its data is deleted.")


class Play:
    """What happens beside the server: the stage is set, the ways in are printed, tasters come."""

    def __init__(self, server: uvicorn.Server, address: str, house: House, say: Console) -> None:
        self._server, self._address, self._house, self._say = server, address, house, say
        self._crowd: Crowd | None = None
        self._thread = threading.Thread(target=self._go, name="demo", daemon=True)

    def begin(self) -> None:
        """Start, in the background."""
        self._say.print(
            "Setting up five studies, tasters and bench included. This takes about half a minute …"
        )
        self._thread.start()

    def end(self) -> None:
        """Stop the tasters."""
        if self._crowd is not None:
            self._crowd.stop()
        self._thread.join(5)

    def _go(self) -> None:
        try:
            password = f"rice-{secrets.token_hex(5)}"
            organiser = Organiser(self._address, self._house, password)
            staged = set_the_stage(organiser)
            self._crowd = Crowd(self._address, staged.serving_join, organiser.cups(staged.serving))
            self._crowd.arrive_early()
            for line in ways_in(self._house.base_url, staged, password):
                self._say.print(line)
            self._crowd.keep_coming()
        except (OSError, RefusedError) as error:
            if not self._server.should_exit:
                self._say.print(f"[red]The demo could not be set up: {error}[/]")
                self._server.should_exit = True


def ways_in(base_url: str, staged: Staged, password: str) -> list[str | Text]:
    """What the terminal shows: who opens what, one address on each line."""
    study = f"{base_url}/studies"
    join = f"{base_url}{staged.serving_join}"
    return [
        "",
        "[bold]Organiser[/]: sign in, then look around",
        f"  {base_url}/sign-in",
        f"  name        {ORGANISER}",
        f"  password    {password}",
        f"  passphrase  {PASSPHRASE}   (opens the names of every sealed study here)",
        "",
        "[bold]The five studies[/] (organiser)",
        "  a draft, complete enough to look at its plan and seal it",
        f"  {study}/{staged.draft}/draft",
        "  sealed: print, pour, then open the sitting in the room",
        f"  {study}/{staged.sealed}",
        "  being tasted: watch who has answered what",
        f"  {study}/{staged.serving}/room",
        "  closed, 24 tasters: read by blind letter, sign, reveal",
        f"  {study}/{staged.closed}/report",
        "  revealed, measured on the bench as well: what taste and bench make together",
        f"  {study}/{staged.verdict}/verdict",
        "  its bench, by name and without letters",
        f"  {study}/{staged.verdict}/bench",
        "  its stopwatch, for several cookers at once",
        f"  {study}/{staged.verdict}/bench/stopwatch",
        "",
        "[bold]Kitchen[/]: what to pour into which cup (the sealed study; no password)",
        f"  {staged.kitchen_link}",
        "",
        "[bold]Analyst[/]: the report by blind letter (the closed study; no password)",
        f"  {staged.analyst_link}",
        "",
        "[bold]Taster[/]: join the sealed study once its sitting is open",
        f"  {base_url}{staged.sealed_join}",
        "[bold]Taster[/]: join the sitting that is going on, here or with a phone on the same network",
        f"  {join}",
        terminal_code(join.upper()),
        "Ctrl+C stops the demo.",
    ]


def terminal_code(address: str) -> Text:
    """A QR code in half blocks, dark on light whatever the terminal's colours are."""
    code = qrcode.QRCode(border=2, error_correction=qrcode.constants.ERROR_CORRECT_M)
    code.add_data(address)
    drawn = io.StringIO()
    code.print_ascii(out=drawn)
    return Text(drawn.getvalue().rstrip("\n"), style="black on white")


def local_address(settings: Settings) -> str:
    """How this machine itself reaches the server."""
    host = "127.0.0.1" if settings.host in EVERY_INTERFACE else settings.host
    return f"http://{host}:{settings.port}"


def _listener(settings: Settings, say: Console) -> socket.socket:
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((settings.host, settings.port))
        listener.listen()
    except OSError as error:
        listener.close()
        say.print(
            f"[red]The demo cannot listen on {settings.host}, port {settings.port}: {error.strerror}.[/] "
            f"Choose another port: python -m panel demo --port {settings.port % 65535 + 1}"
        )
        raise typer.Exit(1) from None
    return listener


def _leave(_number: int, _frame: FrameType | None) -> NoReturn:
    raise SystemExit(0)
