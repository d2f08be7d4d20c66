"""A whole house behind test clients: organisers, kitchen, analyst and tasters over one small study of rice."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from starlette.testclient import TestClient

from demo.phone import hidden_fields, screens_in
from panel.app import create_app
from panel.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from httpx2 import Response
    from sqlmodel import Session

    from panel.store.tables import Study

NAME, PASSWORD, PHRASE = "Ada", "a long password", "plain words in a row"
TYPED = {
    "title": "Rice, round one",
    "question": "Which rice is liked best?",
    "method": "rating",
    "tasters": "4",
    "question-0-text": "How much do you like it?",
    "question-0-scale": "hedonic-9",
    "question-1-text": "Anything else?",
    "question-1-scale": "comment",
    "question-1-optional": "yes",
    "product-0-name": "Tomoshibi",
    "product-0-maker": "Asunagi",
    "product-0-lot": "AW-2209",
    "product-0-allergen_soybeans": "yes",
    "product-1-name": "Kumorigama",
    "product-1-note": "Clay pot",
    "product-2-name": "Ricelet",
}
SCORES = ("7", "5", "3", "8", "6", "4", "9", "5", "2", "7", "6", "3")


class Desk:
    """The application over `folder` with the first organiser signed in, and a study that is moved through its life."""

    def __init__(self, folder: Path) -> None:
        self.app = create_app(Settings(data=folder, base_url="http://testserver"))
        self.house = self.app.state.house
        self.ada = self.client()
        code = self.house.tokens.first_start_code()
        self.ada.post("/first-start", data={"code": code, "name": NAME, "password": PASSWORD})
        self.study = ""
        self.recovery_code = ""
        self.tasted = 0

    def close(self) -> None:
        self.house.database.close()

    def client(self) -> TestClient:
        return TestClient(self.app)

    @property
    def at(self) -> str:
        return f"/studies/{self.study}"

    def read(self) -> Session:
        return self.house.database.read()  # type: ignore[no-any-return]

    def row(self) -> Study:
        from panel.store.studies import study_called

        with self.read() as session:  # type: ignore[attr-defined]
            found = study_called(session, self.study)
        assert found is not None
        return found

    def draft(self, typed: Mapping[str, str] = TYPED) -> None:
        begun = self.ada.post("/studies", data={"method": typed["method"]})
        self.study = str(begun.url).split("/studies/")[1].split("/")[0]
        planned = self.ada.post(f"{self.at}/draft", data={**typed, "go": "plan"}, follow_redirects=False)
        assert planned.headers.get("location", "").endswith("/plan"), words(planned)
        self.ada.post(
            f"{self.at}/plan", follow_redirects=False
        )  # draws it; the page that shows it takes longer

    def seal(self, **fields: str) -> Response:
        form = {"passphrase": PHRASE, "again": PHRASE, "holder": "self", **fields}
        sealed = self.ada.post(f"{self.at}/seal", data=form)
        found = re.search(r"[A-Z2-9]{5}(-[A-Z2-9]{5}){5}", sealed.text)
        assert found, words(sealed)
        self.recovery_code = found[0]
        return sealed

    def open(self) -> None:
        self.ada.post(f"{self.at}/open")

    def join_path(self) -> str:
        found = re.search(r"/J/[A-Z2-7]{26}", self.ada.get(f"{self.at}/poster").text)
        assert found
        return found[0]

    def join(self, name: str = "") -> TestClient:
        """A phone that has agreed and holds a ballot."""
        phone, path = self.client(), self.join_path()
        fields = hidden_fields(phone.get(path).text)
        phone.ballot = phone.post(path, data={**fields, "name": name})  # type: ignore[attr-defined]
        return phone

    def taste(self, tasters: int, remark: str = "", name: str = "") -> None:
        """So many further tasters answer every screen."""
        for taster in range(self.tasted, self.tasted + tasters):
            phone = self.join(name)
            page: Response = phone.ballot  # type: ignore[attr-defined]
            for number, screen in enumerate(screens_in(page.text)):
                score = SCORES[(taster * 3 + number) % len(SCORES)]
                sent = {
                    "submission": screen.submission,
                    "q1": score,
                    "q2": remark if number == 0 else "",
                    "choice": "2",
                }
                assert phone.post(screen.action, data=sent).status_code == 200
        self.tasted += tasters

    def shut(self) -> None:
        self.ada.post(f"{self.at}/close")

    def sign(self) -> None:
        signed = self.ada.post(f"{self.at}/sign", data={"signed_by": "Bo"})
        assert "The results are fixed" in signed.text, words(signed)

    def reveal(self, **fields: str) -> Response:
        return self.ada.post(f"{self.at}/reveal", data={"passphrase": PHRASE, **fields})

    def link(self, role: str) -> str:
        found = re.search(r"/in/[\w-]+", self.ada.post(f"{self.at}/links", data={"role": role}).text)
        assert found
        return found[0]

    def bundle(self) -> bytes:
        return self.ada.get(f"{self.at}/export").content


def words(reply: Response) -> str:
    """What a page says, without its marks."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", reply.text))
