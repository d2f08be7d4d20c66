"""A hundred tasters in one sitting: a server process of its own, one SQLite file, a hundred phones at the same time."""

from __future__ import annotations

import json
import random
import socket
import subprocess
import sys
import threading
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from sqlmodel import col, select

from demo.phone import Phone, Taster, screens_in
from panel.settings import Settings
from panel.store.database import Database
from panel.store.ledger import events_of
from panel.store.tables import Answer, Attempt, Serving, Submission, Task
from panel.store.tokens import Tokens, server_key
from panel.study.plan import Question
from panel.study.seal import first_broken
from tests.web.sealed_sitting import RATING, SealedSitting, seal_sitting

if TYPE_CHECKING:
    from collections.abc import Iterator

    from demo.phone import Screen

ROOT = Path(__file__).parents[2]
TASTERS, CUPS = 100, 4
START = """
import sys, types
root, folder, port = sys.argv[1:]
sys.path.insert(0, root)
import uvicorn
from pathlib import Path
from panel.app import create_app
from panel.settings import Settings
app = create_app(Settings(data=Path(folder), base_url=f"http://127.0.0.1:{port}"))
uvicorn.run(app, host="127.0.0.1", port=int(port), log_level="warning", ws="none")
"""
PLAN = replace(
    RATING,
    tasters=TASTERS,
    ask_name=False,
    question_order="rotated",
    questions=(
        Question("q1", "How much do you like it?", "hedonic-9"),
        Question("q2", "How firm is it?", "line-100", low="soft", high="firm"),
        Question("q3", "How salty is it?", "just-about-right"),
        Question("q4", "What does it smell of?", "check-all", points=("popcorn", "hay", "nuts")),
        Question("q5", "Anything else?", "comment", required=False),
    ),
    primary="q1",
)


@dataclass(slots=True)
class Sent:
    """What the phones sent: (attempt, screen) -> codes shown and fields."""

    screens: dict[tuple[str, int], tuple[tuple[str, ...], dict[str, str]]] = field(default_factory=dict)
    lock: threading.Lock = field(default_factory=threading.Lock)


def places() -> list[list[list[tuple[int, str, int, str]]]]:
    """Every place with codes of its own, samples taking turns."""
    return [
        [[((cup + place) % 2, f"{100 + (place * CUPS + cup) % 900}", 0, "")] for cup in range(CUPS)]
        for place in range(TASTERS)
    ]


@pytest.fixture
def sitting(tmp_path: Path) -> Iterator[SealedSitting]:
    database = Database(Settings(data=tmp_path).database_url)
    database.migrate()
    sealed = seal_sitting(database, Tokens(server_key(tmp_path)), PLAN, places())
    sealed.open()
    yield sealed
    database.close()


@pytest.fixture
def address(tmp_path: Path, sitting: SealedSitting) -> Iterator[str]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    log = tmp_path / "server.log"
    with log.open("wb") as written:
        process = subprocess.Popen(
            [sys.executable, "-c", START, str(ROOT), str(tmp_path), str(port)], stdout=written, stderr=written
        )
    try:
        yield _answering(f"http://127.0.0.1:{port}", process)
    finally:
        process.terminate()
        process.wait(20)
    assert log.read_bytes() == b"", "the server complained"


def _answering(address: str, process: subprocess.Popen[bytes]) -> str:
    """The address, once somebody answers there."""
    waiting = threading.Event()
    for _ in range(300):
        assert process.poll() is None, "the server did not start"
        try:
            Phone(address).get("/go")
        except OSError:
            waiting.wait(0.1)
        else:
            return address
    raise AssertionError("nobody answers")


def taste(number: int, address: str, join: str, start: threading.Barrier, sent: Sent) -> None:
    """One phone: joins when everybody is there, and answers screen after screen with answers of its own."""
    draw = random.Random(number)
    start.wait(60)
    taster = Taster(address, join, source=f"127.0.0.{number + 2}")
    for screen in taster.screens:
        fields = {
            "q1": str(draw.randint(1, 9)),
            "q2": f"{draw.uniform(0, 100):.1f}",
            "q3": str(draw.randint(1, 5)),
            "q5": f"taster {number}, cup {screen.codes[0]}",
            **{f"q4.{term}": "1" for term in (1, 2, 3) if draw.random() < 0.5},
        }
        assert taster.answer(screen, fields), "the sitting is open"
        if draw.random() < 0.2:
            assert taster.answer(screen, fields), "sent twice, as after a lost acknowledgement"
        with sent.lock:
            sent.screens[key_of(screen)] = (screen.codes, fields)
    thanks = taster.phone.get(taster.screens[0].action.rpartition("/")[0])
    assert "All your answers have arrived" in thanks.text
    assert screens_in(thanks.text) == []


def key_of(screen: Screen) -> tuple[str, int]:
    _, _, attempt, number = screen.action.split("/")
    return attempt, int(number)


def test_a_hundred_tasters_at_once_lose_nothing_and_count_once(sitting: SealedSitting, address: str) -> None:
    start, sent = threading.Barrier(TASTERS), Sent()
    with ThreadPoolExecutor(TASTERS) as phones:
        tasks = [phones.submit(taste, n, address, sitting.join_path, start, sent) for n in range(TASTERS)]
    for task in tasks:
        task.result()
    with sitting.database.read() as session:
        attempts = list(session.exec(select(Attempt)))
        sends = list(session.exec(select(Submission)))
        query = select(Answer, Task.number).join(Task, col(Task.id) == Answer.task_id)
        answers = {
            (row.attempt_id, screen, row.question): json.loads(row.value)
            for row, screen in session.exec(query)
        }
        rows = len(list(session.exec(select(Answer.id))))
        cups = select(Serving.code, Task.number, Attempt.id).join(Task, col(Task.id) == Serving.task_id)
        cups = cups.join(Attempt, col(Attempt.place_id) == Serving.place_id)
        poured = {(attempt, screen): code for code, screen, attempt in session.exec(cups)}
        events = events_of(session, sitting.study_id)
    assert len({attempt.place_id for attempt in attempts}) == len(attempts) == TASTERS
    assert {attempt.status for attempt in attempts} == {"finished"}
    assert Counter(send.outcome for send in sends) == {"stored": TASTERS * CUPS}
    assert len(sent.screens) == TASTERS * CUPS
    assert rows == len(answers) == TASTERS * CUPS * 7, "every answer stands once"
    for (attempt, screen), (codes, fields) in sent.screens.items():
        assert codes == (poured[attempt, screen],), "everybody met their own cups"
        expected = {name: float(fields[name]) for name in ("q1", "q2", "q3")} | {"q5": fields["q5"]}
        expected |= {f"q4.{term}": float(f"q4.{term}" in fields) for term in (1, 2, 3)}
        assert {name: answers[attempt, screen, name] for name in expected} == expected
    assert first_broken(events) is None
    kinds = Counter(event.kind for event in events)
    assert (kinds["place dealt"], kinds["answers received"]) == (TASTERS, TASTERS * CUPS)
