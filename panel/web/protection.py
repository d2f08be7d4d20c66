"""What guards every request: headers, same-origin writes, and a limit on what is sent.

Cross-site writes are refused by the Origin header (every browser sends it with a POST) beside SameSite cookies,
since Sec-Fetch headers do not exist on plain HTTP.
"""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "X-Frame-Options": "DENY",
    "Cross-Origin-Resource-Policy": "same-origin",
}
MOST_DROPPED = 200_000_000
SAFE = {"GET", "HEAD", "OPTIONS"}


class Protection:
    """ASGI middleware around the whole application. most_bytes: largest body that is read."""

    def __init__(self, app: ASGIApp, most_bytes: int) -> None:
        self.app = app
        self.most_bytes = most_bytes

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        scope.setdefault("signed_in", None)

        async def send_guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        refusal = self._refusal(scope)
        if refusal is not None:
            await _let_finish(scope, receive)
            await refusal(scope, receive, send_guarded)
        else:
            await self.app(scope, receive, send_guarded)

    def _refusal(self, scope: Scope) -> PlainTextResponse | None:
        if scope["method"] in SAFE:
            return None
        headers = Headers(scope=scope)
        origin = headers.get("origin")
        if origin is not None and _host_of(origin) != headers.get("host", ""):
            return PlainTextResponse(
                "This form was sent from another address than this page's. Open the page again and send it there.",
                403,
            )
        if "transfer-encoding" in headers and "content-length" not in headers:
            return PlainTextResponse(
                "The length of what is sent must be known beforehand. Send it as a file.", 411
            )
        length = headers.get("content-length", "0")
        if not (length.isascii() and length.isdigit()) or int(length) > self.most_bytes:
            limit = self.most_bytes // 1_000_000
            return PlainTextResponse(
                f"This is larger than {limit} MB, the most that is read. Send a smaller file; nothing was stored.",
                413,
            )
        return None


def _host_of(origin: str) -> str | None:
    try:
        return urlsplit(origin).netloc
    except ValueError:
        return None


async def _let_finish(scope: Scope, receive: Receive) -> None:
    """Read and drop what is still coming, within reason: a browser that is cut off never shows the answer."""
    length = Headers(scope=scope).get("content-length", "0")
    if not length.isascii() or not length.isdigit() or int(length) > MOST_DROPPED:
        return
    while (await receive()).get("more_body"):
        pass
