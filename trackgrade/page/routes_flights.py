"""Pages of tracks and reports: drop, see what was found, answer what is asked, grade, read, delete."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, Response, jsonify, make_response, redirect, request

from trackgrade.errors import TrackgradeError, UsageError
from trackgrade.logbook import record_debrief
from trackgrade.page import columns_form
from trackgrade.page.desk import StoredFlight
from trackgrade.page.gate import SANDBOX
from trackgrade.page.grading import DEBRIEF, LAPS, REPORT
from trackgrade.page.house import LISTED, House
from trackgrade.page.screens import page, part, wants_json
from trackgrade.score.standards import list_standards, load_standard
from trackgrade.track.readers import MOST_BYTES

#: With more tracks than this their drawings are folded away.
OPEN_AT_MOST = 2
#: Without script the page asks again by itself after this [s].
AGAIN_S = 2


def pages(house: House) -> Blueprint:
    """The routes of tracks and reports."""
    routes = Blueprint("flights", __name__)
    desk = house.desk

    def asked_flights() -> list[StoredFlight]:
        return house.known(request.values.get("flights", "").split(","))

    @routes.get("/")
    def start() -> Response:
        flights = asked_flights()
        rows = house.rows(flights)
        chosen = request.args.get("hold", "")
        response = page(
            "start.html",
            rows=rows,
            flights=",".join(flight.id for flight in flights),
            messages=house.messages(flights),
            groups=house.options(flights, chosen),
            hold=chosen,
            standards=_standards(),
            reports=desk.reports()[:LISTED],
            left=[flight for flight in desk.ungraded() if flight not in flights],
            most_bytes=MOST_BYTES,
            open=len(rows) <= OPEN_AT_MOST,
        )
        if "plain" in request.args and any(row.busy for row in rows):
            response.headers["Refresh"] = str(AGAIN_S)
        return response

    @routes.post("/tracks")
    def drop() -> Any:
        flights, messages = _received(house)
        if wants_json():
            return jsonify(flights=[{"id": each.id, "name": each.name} for each in flights], messages=messages)
        return _start(flights)

    @routes.post("/grade")
    def grade() -> Any:
        flights, messages = _received(house)
        flights = [*asked_flights(), *flights]
        if not flights and messages:
            raise UsageError(messages[0])
        house.grade(flights, request.form.get("hold", ""), request.form.get("standard", ""), _session())
        if wants_json():
            return jsonify(messages=messages)
        return _start(flights, request.form.get("hold", ""))

    @routes.post("/stop")
    def stop() -> Any:
        house.stop(asked_flights())
        return jsonify(messages=[]) if wants_json() else _start(asked_flights())

    @routes.get("/state")
    def state() -> Response:
        flights = asked_flights()
        rows = house.rows(flights)
        reports = desk.reports()
        return jsonify(
            rows={row.flight.id: row.version for row in rows},
            busy=sum(row.busy for row in rows),
            graded=sum(bool(row.reports) for row in rows),
            messages=house.messages(flights),
            options=house.options(flights, request.args.get("hold", "")),
            reports=f"{len(reports)}:{reports[0].id if reports else ''}",
        )

    @routes.get("/flight/<id>/row")
    def row(id: str) -> Response:
        return part("row.html", row=house.rows([desk.flight(id)])[0], open="open" in request.args)

    @routes.get("/reports")
    def reports() -> Response:
        return part("reports.html", reports=desk.reports()[:LISTED])

    @routes.route("/flight/<id>/columns", methods=["GET", "POST"])
    def columns(id: str) -> Any:
        flight, seen = desk.flight(id), desk.seen(id) or {}
        if not seen.get("questions"):
            raise UsageError(f"{flight.name} has no columns to ask about, or was not looked at yet")
        problem = ""
        if request.method == "POST":
            try:
                columns_form.keep(desk.flight_folder(id), request.form)
            except TrackgradeError as error:
                problem = str(error)
            else:
                house.look(flight)
                return _start(house.known([*request.form.get("flights", "").split(","), id]))
        return page(
            "columns.html",
            flight=flight,
            questions=seen["questions"],
            messages=[problem or seen["problem"]],
            choices=columns_form.CHOICES,
            fixed=columns_form.FIXED,
            given=request.form,
            flights=request.values.get("flights", id),
        )

    @routes.post("/flight/<id>/forget")
    def forget(id: str) -> Any:
        house.forget(desk.flight(id).id)
        return _start([flight for flight in asked_flights() if flight.id != id])

    @routes.get("/report/<id>")
    def report(id: str) -> Response:
        kept, text = desk.report(id), desk.report_file(id, REPORT).read_text(encoding="utf-8")
        if kept.pilot:  # who flew may have been typed in, or corrected, since it was graded
            from trackgrade.report.page import signed
            from trackgrade.report.summary import Sheet

            text = signed(text, Sheet(kept.pilot, kept.instructor, kept.note))
        response = make_response(text)
        response.mimetype = "text/html"
        response.headers.add("Content-Security-Policy", SANDBOX)
        return response

    @routes.get("/report/<id>/<any(debrief, laps):what>")
    def numbers(id: str, what: str) -> Response:
        name = DEBRIEF if what == "debrief" else LAPS
        response = make_response(desk.report_file(id, name).read_bytes())
        response.mimetype = "application/json" if what == "debrief" else "text/csv"
        response.headers["Content-Disposition"] = f"attachment; filename={name}"
        return response

    @routes.route("/report/<id>/session", methods=["GET", "POST"])
    def session(id: str) -> Any:
        import json

        kept = desk.report(id)
        if request.method == "GET":
            return page("session.html", report=kept)
        given = _session()
        if not given["pilot"]:
            return page("session.html", report=kept, messages=["Who flew? Give the name of the pilot."])
        debrief = json.loads(desk.report_file(id, DEBRIEF).read_text(encoding="utf-8"))
        record_debrief(debrief, **given, logbook=house.logbook or None)
        desk.note_session(id, **given)
        return redirect("/", 303)

    @routes.post("/report/<id>/forget")
    def forget_report(id: str) -> Any:
        desk.forget_report(id)
        return redirect("/", 303)

    return routes


def _session() -> dict[str, str]:
    """Who flew, as a form says it."""
    return {key: request.form.get(key, "").strip() for key in ("pilot", "instructor", "note")}


def _received(house: House) -> tuple[list[StoredFlight], list[str]]:
    """The tracks of a form; one that cannot be taken harms no other."""
    flights, messages = [], []
    for file in request.files.getlist("tracks"):
        if not file.filename:
            continue
        try:
            flights.append(house.drop(file.stream, file.filename))  # type: ignore[arg-type]
        except TrackgradeError as error:
            messages.append(str(error))
    return flights, messages


def _start(flights: list[StoredFlight], hold: str = "") -> Any:
    """Back to the first page with these tracks on it."""
    from urllib.parse import urlencode

    query = urlencode({"flights": ",".join(each.id for each in flights), "hold": hold, "plain": ""})
    return redirect(f"/?{query}", 303)


def _standards() -> list[tuple[str, str]]:
    return [(name, load_standard(name).title) for name in list_standards()]
