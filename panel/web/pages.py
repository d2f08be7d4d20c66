"""Rendering pages and reading forms.

A page is a template with one frozen dataclass beside its route as context. A fragment for htmx is a block of
the same template. Forms are read raw, so that a page can come back with what was typed.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import TYPE_CHECKING, Annotated, Any

from fastapi import Depends, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from jinja2 import Environment, FileSystemLoader, StrictUndefined

from panel.web.house import House, house_of
from panel.web.words import translated, words_of

if TYPE_CHECKING:
    from collections.abc import AsyncIterator

    from starlette.datastructures import FormData

    from panel.web.local import Local

MOST_FIELDS = 5000


@dataclass(frozen=True, slots=True)
class Notice:
    """What a page says instead of what was asked for: not found, not possible now, went wrong."""

    title: str
    text: str
    back: str = ""
    back_label: str = ""


@lru_cache(maxsize=8)
def make_environment(local: Local) -> Environment:
    """The Jinja environment over the templates folder, wherever the package is installed.

    One for each way to write, since it keeps the templates that it compiled: pages, reports as files and tables for
    readers share them. Filters: moment, day, number, figures, as `local` writes them.
    """
    environment = Environment(
        loader=FileSystemLoader(str(files("templates"))),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals["_"] = translated
    for name in ("moment", "day", "number", "figures"):
        environment.filters[name] = getattr(local, name)
    environment.globals["figure_src"] = lambda figure: figure.data_uri()
    return environment


def page(
    request: Request,
    template: str,
    context: Any,
    *,
    block: str | None = None,
    status: int = 200,
    headers: dict[str, str] | None = None,
) -> HTMLResponse:
    """`template` rendered with the fields of the dataclass `context`; only `block` of it where given."""
    environment: Environment = request.app.state.templates
    found = environment.get_template(template)
    values = {field.name: getattr(context, field.name) for field in dataclasses.fields(context)}
    values |= {"signed_in": request.scope.get("signed_in"), "path": request.url.path}
    values |= {"words": words_of(request), "theme": request.scope.get("theme", "")}
    if block is None:
        text = found.render(values)
    else:
        text = "".join(found.blocks[block](found.new_context(values)))
    return HTMLResponse(text, status_code=status, headers={"Cache-Control": "no-store", **(headers or {})})


def notice(
    request: Request, status: int, title: str, text: str, back: str = "", back_label: str = ""
) -> HTMLResponse:
    """A plain page that says what is the matter and where to go from here."""
    return page(request, "notice.html", Notice(title, text, back, back_label), status=status)


def see_other(url: str) -> Response:
    """Go and fetch `url` after a form was taken (303)."""
    return RedirectResponse(url, status_code=303)


def wants_fragment(request: Request) -> bool:
    """Whether htmx asks for a block only."""
    return request.headers.get("HX-Request") == "true"


async def sent_form(request: Request) -> AsyncIterator[FormData]:
    """The form as sent, files included; they are closed once it was answered."""
    async with request.form(max_fields=MOST_FIELDS, max_files=1) as form:
        yield form


async def sent_fields(form: Annotated[Any, Depends(sent_form)]) -> dict[str, str]:
    """The text fields of the form; the last one where a name comes twice."""
    return {name: value for name, value in form.multi_items() if isinstance(value, str)}


Sent = Annotated[dict[str, str], Depends(sent_fields)]
SentForm = Annotated[Any, Depends(sent_form)]
InHouse = Annotated[House, Depends(house_of)]
