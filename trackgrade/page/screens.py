"""What every screen is made with: the one frame, the way around, and how a refusal is said."""

from __future__ import annotations

from typing import Any

from flask import Response, jsonify, make_response, request
from markupsafe import Markup

from trackgrade import __version__
from trackgrade.caution import CAUTION
from trackgrade.drawing import frame

PLACES = {"Grade": "/", "Brief": "/brief", "Holds": "/holds", "Pilots": "/class"}


def page(template: str, **context: Any) -> Response:
    """A page of this room, in the one frame."""
    text = frame.render(
        "page",
        template,
        {"caution": CAUTION, "version": __version__, "messages": ()} | context,
        styles=("page.css",),
        script="page.js",
        allow="connect-src 'self'; form-action 'self'",
        ribbon=ribbon(),
    )
    return make_response(text)


def part(template: str, **context: Any) -> Response:
    """A piece of a page, for the script to put in its place."""
    return make_response(frame.environment("page").get_template(template).render(**context))


def ribbon(**more: str) -> Markup:
    """The way around, for every page; ``more``: titles and addresses of what else can be done on this one."""
    links = [
        Markup('<a href="{}"{}>{}</a>').format(
            address, Markup(' aria-current="page"') if request.path == address else "", title
        )
        for title, address in (PLACES | more).items()
    ]
    return Markup('<nav class="ribbon" aria-label="Pages">{}</nav>').format(Markup("\n").join(links))


def wants_json() -> bool:
    """Whether the script asks, which shows messages by itself."""
    return request.headers.get("Accept", "").startswith("application/json")


def refusal(message: str, status: int) -> Response:
    """One line that says what is wrong and what to do, as a page or for the script."""
    response = jsonify(message=message) if wants_json() else page("refusal.html", messages=[message])
    response.status_code = status
    return response
