"""The application: its rooms of pages behind one gate, and one way to say what went wrong."""

from __future__ import annotations

import os

from flask import Flask, Response, request
from markupsafe import escape
from werkzeug.exceptions import HTTPException

from trackgrade import __version__
from trackgrade.errors import TrackgradeError
from trackgrade.page import routes_flights, routes_holds, routes_logbook
from trackgrade.page.desk import too_large
from trackgrade.page.gate import Gate
from trackgrade.page.house import House, without_commands
from trackgrade.page.screens import refusal
from trackgrade.track.readers import MOST_BYTES

#: Of one request: a track of the largest size, and what is around it.
MOST_REQUEST_BYTES = MOST_BYTES + 1024 * 1024
#: Fields of a form in memory [bytes], and parts of a form (several tracks at once, without script).
MOST_FIELDS_BYTES, MOST_PARTS = 256 * 1024, 2000


def make_app(house: House, gate: Gate) -> Flask:
    """The application of one house behind its gate."""
    app = Flask("trackgrade.page", static_folder=None, template_folder=None)
    app.config["MAX_CONTENT_LENGTH"] = MOST_REQUEST_BYTES
    app.config["MAX_FORM_MEMORY_SIZE"] = MOST_FIELDS_BYTES
    app.config["MAX_FORM_PARTS"] = MOST_PARTS
    app.url_map.merge_slashes = False  # an odd address is refused, not led elsewhere
    gate.guard(app)
    app.before_request(_limit)
    for routes in (routes_flights, routes_holds, routes_logbook):
        app.register_blueprint(routes.pages(house))
    app.add_url_rule("/favicon.ico", view_func=lambda: Response(status=204))
    app.register_error_handler(TrackgradeError, _told)
    app.register_error_handler(HTTPException, _refused)
    app.register_error_handler(Exception, _fault)
    return app


def _limit() -> None:
    """A form without files is read into memory whole: only so much of it."""
    if request.mimetype != "multipart/form-data":
        request.max_content_length = MOST_FIELDS_BYTES


def _told(error: TrackgradeError) -> Response:
    return refusal(without_commands(str(error)), 400)


def _refused(error: HTTPException) -> Response:
    status = error.code or 500
    if status == 403:  # nothing of the page is shown to who is not let in
        return Response(f"<!DOCTYPE html><html lang=en><title>trackgrade</title><p>{escape(error.description)}", 403)
    known = {413: f"That is too large: {too_large()}.", 404: "There is no such page here."}
    return refusal(known.get(status, f"That cannot be done here ({error.name})."), status)


def _fault(error: Exception) -> Response:
    if os.environ.get("TRACKGRADE_TRACEBACK"):
        raise error
    return refusal(f"A fault in trackgrade {__version__}, please report it: {type(error).__name__}: {error}", 500)
