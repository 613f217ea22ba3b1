"""Pages of holds: typed or corrected beside a drawing, kept in the set, briefed and printed."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any
from urllib.parse import urlencode

import numpy as np
from flask import Blueprint, Response, jsonify, make_response, redirect, request

from trackgrade.briefing import page as brief_page
from trackgrade.drawing.from_above import Line, Shown, draw
from trackgrade.errors import HoldFileError, TrackgradeError, UsageError
from trackgrade.files import LARGEST_TOML_BYTES
from trackgrade.hold import holdset
from trackgrade.hold.courses import course_name
from trackgrade.hold.hold import Hold
from trackgrade.hold.holdfile import parse_hold, write_hold_file
from trackgrade.hold.plan import HoldPlan
from trackgrade.page import hold_form
from trackgrade.page.house import House, without_commands
from trackgrade.page.screens import page, ribbon
from trackgrade.verbs import brief

#: Fields of the brief that are numbers: what they are called, and the unit.
AIR = {
    "tas_kt": ("True airspeed", "kt"),
    "ias_kt": ("Indicated airspeed", "kt, instead; blank: the hold's own"),
    "wind_from_true_deg": ("Wind from", "degrees true"),
    "wind_kt": ("Wind speed", "kt"),
    "arriving_deg": ("Arrival heading", "degrees"),
}


def pages(house: House) -> Blueprint:
    """The routes of holds."""
    routes = Blueprint("holds", __name__)

    def the_line(flights: str) -> Line | None:
        """The first of these tracks as a line to draw, where it could be read."""
        for flight in house.known(flights.split(",")):
            if points := (house.desk.seen(flight.id) or {}).get("line"):
                return Line(*(np.array(values, dtype=float) for values in points))
        return None

    def checked(form: Mapping[str, str]) -> dict[str, Any]:
        """What a typed hold comes to, for page and script alike."""
        line = the_line(form.get("flights", ""))
        flown = (
            dt.datetime.fromtimestamp(float(line.epoch_s[0]), dt.UTC) if line is not None else dt.datetime.now(dt.UTC)
        )
        found = hold_form.check(form, flown.date())
        shown = [Shown(found.hold)] if found.hold is not None else []
        drawing = draw(line, shown) if line is not None or shown else ""
        return {
            "problem": found.problem,
            "field": found.field,
            "notes": _told(found.hold) if found.hold is not None else [],
            "drawing": drawing,
            "plan": found.plan,
        }

    def form_page(form: Mapping[str, str], message: str = "") -> Response:
        result = checked(form)
        return page(
            "hold.html",
            form=form,
            result=result,
            message=message,
            labels=hold_form.LABELS,
            flights=form.get("flights", ""),
            most_levels=hold_form.MOST_LEVELS,
            levels=sum(form.get(f"levels[{n}].altitude_ft", "") != "" for n in range(1, hold_form.MOST_LEVELS + 1)),
        )

    @routes.get("/hold")
    def typed() -> Response:
        source = request.args.get("from", "")
        form = hold_form.form_of(house.plan(source)) if source else dict(hold_form.EMPTY)
        return form_page(form | {"flights": request.args.get("flights", "")})

    @routes.post("/hold/check")
    def check() -> Response:
        result = checked(request.form)
        del result["plan"]
        return jsonify(result)

    @routes.post("/hold")
    def use() -> Any:
        form, action = request.form, request.form.get("action", "check")
        plan: HoldPlan | None = checked(form)["plan"]
        if plan is None or action == "check":
            return form_page(form)
        if action == "save":
            try:
                holdset.add(plan, house.holds, replace="replace" in form)
            except UsageError as error:
                return form_page(
                    form, f"{without_commands(str(error))}. Another name, or tick the box to write over it."
                )
            return redirect("/holds", 303)
        choice = f"typed:{house.desk.keep_typed(write_hold_file(plan))}"
        if action == "brief":
            return redirect(f"/brief?{urlencode({'hold': choice})}", 303)
        return redirect(f"/?{urlencode({'flights': form.get('flights', ''), 'hold': choice})}", 303)

    @routes.get("/holds")
    def holds() -> Response:
        return _holds_page(house)

    @routes.post("/holds")
    def add() -> Any:
        messages = []
        for file in request.files.getlist("files"):
            try:
                text = file.stream.read(LARGEST_TOML_BYTES + 1)
                if len(text) > LARGEST_TOML_BYTES:
                    raise HoldFileError(f"{file.filename}: this is too large for a hold file")
                plan = parse_hold(text.decode("utf-8-sig"), file.filename or "hold file")
                holdset.add(plan, house.holds, text=text.decode("utf-8-sig"))
            except UnicodeDecodeError:
                messages.append(f"{file.filename} is no hold file")
            except TrackgradeError as error:
                messages.append(without_commands(str(error)))
        return _holds_page(house, messages) if messages else redirect("/holds", 303)

    @routes.post("/holds/remove")
    def remove() -> Any:
        holdset.remove(request.form.get("name", ""), house.holds)
        return redirect("/holds", 303)

    def brief_page_form(message: str = "", status: int = 200) -> Response:
        groups = house.options([], request.args.get("hold", ""))
        response = page("brief_form.html", given=request.args, groups=groups, air=AIR, messages=[message])
        response.status_code = status
        return response

    @routes.get("/brief")
    def brief_form() -> Response:
        return brief_page_form()

    @routes.get("/brief/sheet")
    def sheet() -> Response:
        try:
            prepared = brief(house.plan(request.args.get("hold", "")), **_air(request.args))
        except (UsageError, HoldFileError) as error:
            return brief_page_form(without_commands(str(error)), 400)
        return make_response(
            brief_page.render(prepared, ribbon(**{"Change this brief": f"/brief?{request.query_string.decode()}"}))
        )

    return routes


def _holds_page(house: House, messages: list[str] | None = None) -> Response:
    plans, wrong = holdset.read_set(house.holds)
    return page("holds.html", plans=plans, messages=[*wrong, *(messages or [])], course=course_name)


def _air(given: Mapping[str, str]) -> dict[str, Any]:
    """Speeds, wind, heading and day of a brief. Raises UsageError."""
    air: dict[str, Any] = {}
    for field, (called, _) in AIR.items():
        text = given.get(field, "").strip()
        if text:
            try:
                air[field] = float(text.replace(",", "."))
            except ValueError:
                raise UsageError(f"{called}: {text[:40]} is no number") from None
    day = given.get("date", "").strip()
    if day:
        try:
            air["date"] = dt.date.fromisoformat(day)
        except ValueError:
            raise UsageError("the day of the flight must be as 2026-05-03") from None
    return air


def _told(hold: Hold) -> list[str]:
    """What the hold comes to, so that a slip is seen."""
    magnetic = course_name(hold.inbound_course_true_deg - hold.variation_deg)
    told = [
        f"Inbound {magnetic} magnetic, {course_name(hold.inbound_course_true_deg)} true; the holding side is "
        f"{hold.turns} of the course. Fix {hold.fix_lat_deg:.4f}, {hold.fix_lon_deg:.4f}.",
    ]
    return [*told, *hold.notes]
