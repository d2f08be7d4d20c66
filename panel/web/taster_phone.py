"""What a taster's phone carries: one cookie for each attempt, and a list of the attempts made on this phone."""

from __future__ import annotations

from typing import TYPE_CHECKING

from itsdangerous import BadSignature, URLSafeSerializer

if TYPE_CHECKING:
    from fastapi import Request
    from fastapi.responses import Response

    from panel.store.tokens import Tokens

PHONE = "taster-phone"
TWO_DAYS = 2 * 24 * 3600
MOST_ATTEMPTS = 20  # a cookie holds 4 KB


def attempts_on(request: Request, tokens: Tokens) -> list[str]:
    """The ids of the attempts made on this phone, newest last; none where the cookie is not ours."""
    try:
        found = _signer(tokens).loads(request.cookies.get(PHONE, ""))
    except BadSignature:
        return []
    return [str(item) for item in found]


def may_answer(request: Request, tokens: Tokens, attempt_id: str) -> bool:
    """Whether this phone holds the attempt's own cookie."""
    return tokens.opens_attempt(request.cookies.get(f"taster-{attempt_id}", ""), attempt_id)


def remember_attempt(request: Request, response: Response, tokens: Tokens, attempt_id: str) -> None:
    """Give this phone the right to answer for the attempt. Plain HTTP carries it, so it cannot be Secure."""
    response.set_cookie(
        f"taster-{attempt_id}",
        tokens.attempt(attempt_id),
        max_age=TWO_DAYS,
        path=f"/t/{attempt_id}",
        httponly=True,
        samesite="lax",
    )
    known = [item for item in attempts_on(request, tokens) if item != attempt_id]
    listed = _signer(tokens).dumps([*known, attempt_id][-MOST_ATTEMPTS:])
    response.set_cookie(PHONE, listed, max_age=TWO_DAYS, path="/", httponly=True, samesite="lax")


def _signer(tokens: Tokens) -> URLSafeSerializer:
    return URLSafeSerializer(tokens.cookie_key(), salt="taster phone")
