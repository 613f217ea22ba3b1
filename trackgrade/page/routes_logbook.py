"""Pages of pilots, live from the logbook: the class, one pilot with links to the reports, and forgetting a pilot."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from flask import Blueprint, Response, make_response, redirect, request

from trackgrade.errors import LogbookError, UsageError
from trackgrade.logbook.class_view import class_view
from trackgrade.logbook.pages import pilot_page, render_class, render_pilot
from trackgrade.logbook.queries import class_history, pilot_history
from trackgrade.logbook.store import Logbook
from trackgrade.page.house import House
from trackgrade.page.screens import page, ribbon


def pages(house: House) -> Blueprint:
    """The routes of pilots."""
    routes = Blueprint("logbook", __name__)

    def logbook() -> Logbook:
        return Logbook(house.logbook or None)

    @routes.get("/class")
    def everybody() -> Response:
        with logbook() as opened:
            pilots = [name for name, _, _ in opened.pilots()]
            if not pilots:
                return page("nobody.html")
            history = class_history(opened, request.args.get("standard"), request.args.get("hold"))
        view = class_view(history, sorting=request.args.get("sort", "work"))
        links = {name: f"/pilot?{urlencode({'name': name})}" for name in pilots}
        return make_response(render_class(view, links, ribbon()))

    @routes.get("/pilot")
    def pilot() -> Response:
        name = request.args.get("name", "")
        with logbook() as opened:
            history = pilot_history(opened, name, request.args.get("standard"))
        kept = {(each.recording, each.hold): each.id for each in reversed(house.desk.reports())}  # the latest stays
        at_hand = {
            flown.recording_id: f"/report/{kept[flown.flight_hash, flown.hold_name]}"
            for flown in history.flown
            if (flown.flight_hash, flown.hold_name) in kept
        }
        forget = {"Delete this pilot": f"/pilot/forget?{urlencode({'name': name})}"}
        return make_response(render_pilot(pilot_page(history, reports=at_hand), ribbon(**forget)))

    @routes.route("/pilot/forget", methods=["GET", "POST"])
    def forget() -> Any:
        name = request.values.get("name", "")
        reports = house.desk.reports_of(name)
        if request.method == "GET":
            return page("forget.html", name=name, reports=len(reports))
        for report in reports:
            house.forget(report.flight)
            house.desk.forget_report(report.id)
        try:
            with logbook() as opened:
                opened.delete_pilot(name)
        except UsageError:  # reports bear the name, the logbook does not
            if not reports:
                raise
        except LogbookError as error:
            return page("forget.html", name=name, reports=0, messages=[str(error)])
        return redirect("/class", 303)

    return routes
