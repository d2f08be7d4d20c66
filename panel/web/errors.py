"""What people see when something is not possible, not found, or went wrong: a sentence, never a trace."""

from __future__ import annotations

import logging
from typing import TYPE_CHECKING
from urllib.parse import quote

from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException

from panel.store.studies import ForbiddenMoveError
from panel.web.access import SignInNeededError
from panel.web.pages import notice, see_other
from panel.web.protection import HEADERS

if TYPE_CHECKING:
    from fastapi import FastAPI, Request
    from starlette.responses import Response

log = logging.getLogger("panel")

SENTENCES = {
    404: (
        "Nothing here",
        "This address leads nowhere. Check it for a typing mistake, or start again from the front.",
    ),
    405: ("Not that way", "This page cannot be used like that. Go back and use the buttons on it."),
}


def install(app: FastAPI) -> None:
    """Give `app` a page for each kind of failure."""
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(RequestValidationError, _not_found)
    app.add_exception_handler(ForbiddenMoveError, _forbidden_move)
    app.add_exception_handler(SignInNeededError, _sign_in)
    app.add_exception_handler(Exception, _unexpected)


def _http(request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 500
    title, text = SENTENCES.get(
        status, ("That did not work", "The request could not be answered. Go back and retry.")
    )
    return notice(request, status, title, text, "/", "To the front page")


def _not_found(request: Request, _error: Exception) -> Response:
    return notice(request, 404, *SENTENCES[404], "/", "To the front page")


def _forbidden_move(request: Request, error: Exception) -> Response:
    return notice(request, 409, "Not now", str(error), _page_before(request), "Back")


def _sign_in(request: Request, _error: Exception) -> Response:
    if request.method in ("GET", "HEAD"):
        return see_other(f"/sign-in?to={quote(request.url.path)}")
    text = "Sign in first. What you typed is still on the page you came from: go back to it afterwards."
    return notice(request, 403, "Not signed in", text, "/sign-in", "Sign in")


def _page_before(request: Request) -> str:
    """The page of ours that led here; the front page where another site did."""
    before = request.headers.get("referer", "")
    ours = str(request.base_url)
    return "/" + before.removeprefix(ours).lstrip("/\\") if before.startswith(ours) else "/"


def _unexpected(request: Request, error: Exception) -> Response:
    # The address may hold a token: the log names the route, which holds its pattern only.
    log.error("unexpected failure at %s", getattr(request.scope.get("route"), "path", "?"), exc_info=error)
    text = "Something went wrong here, and it has been written to the server's log. What was saved before is safe."
    said = notice(request, 500, "That went wrong", text, "/", "To the front page")
    said.headers.update(HEADERS)  # this answer is made outside of Protection
    return said
