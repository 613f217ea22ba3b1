"""Who may come in, and what every answer forbids: the key and its cookie, host and origin of requests, policies.

Threats: another page in the same browser (forged requests, framing, DNS rebinding), another user of the machine (no
key), and what stands in a track or a name (shown as text; a report runs in a sandbox without the page's origin).
"""

from __future__ import annotations

import hmac
import html
import re
import secrets

from flask import Flask, Response, make_response, redirect, request
from werkzeug.exceptions import Forbidden

#: 128 random bits.
KEY_BYTES = 16
SAFE_METHODS = ("GET", "HEAD")
#: For an answer that is no document.
NOTHING_RUNS = "default-src 'none'; base-uri 'none'; form-action 'none'"
#: What a report may do: run its own script, print, save; not reach the cookie or the origin of this page.
SANDBOX = "sandbox allow-scripts allow-modals allow-downloads"
_POLICY = re.compile(r'<meta http-equiv="Content-Security-Policy" content="([^"]*)"')
#: A document states its policy among its first bytes.
_HEAD = 4096

NO_KEY = "This page is shut: open the address that 'trackgrade serve' printed, with the key in it."
FOREIGN_HOST = "This page answers to its own address only."
FOREIGN_ORIGIN = "This request came from another page and was not carried out."


class Gate:
    """The key of one running server. A cookie is named for the port, so that two servers do not take each other's."""

    def __init__(self, port: int) -> None:
        self.key = secrets.token_urlsafe(KEY_BYTES)
        self.cookie = f"trackgrade-{port}"
        self.hosts = {f"127.0.0.1:{port}", f"localhost:{port}"}
        self.address = f"http://127.0.0.1:{port}/?key={self.key}"

    def guard(self, app: Flask) -> None:
        """Put the gate before and after everything that the application does."""
        app.before_request(self._admit)
        app.after_request(seal)

    def _admit(self) -> Response | None:
        if request.headers.get("Host", "").lower() not in self.hosts:
            raise Forbidden(FOREIGN_HOST)
        if request.method not in SAFE_METHODS and not _from_this_page():
            raise Forbidden(FOREIGN_ORIGIN)
        given = request.args.get("key")
        if given is not None and request.path == "/" and request.method in SAFE_METHODS:
            if not self._fits(given):
                raise Forbidden(NO_KEY)
            response = make_response(redirect("/", 303))  # the key is gone from the address and from what is sent on
            response.set_cookie(self.cookie, self.key, httponly=True, samesite="Strict", path="/")
            return response
        if not self._fits(request.cookies.get(self.cookie, "")):
            raise Forbidden(NO_KEY)
        return None

    def _fits(self, given: str) -> bool:
        return hmac.compare_digest(given.encode("utf-8", "replace"), self.key.encode())


def _from_this_page() -> bool:
    """Whether a request that changes something was made by this page, as far as the browser tells.

    Documents here send no referrer, so a browser calls the origin of their forms "null" (Fetch standard, "append a
    request Origin header"); Sec-Fetch-Site then tells this page's from others'.
    """
    site, origin = request.headers.get("Sec-Fetch-Site"), request.headers.get("Origin")
    if site is not None and site not in ("same-origin", "none"):
        return False
    if origin is None or origin == f"http://{request.headers.get('Host', '').lower()}":
        return True
    return origin == "null" and site == "same-origin"


def seal(response: Response) -> Response:
    """Headers of every answer. The policy that a document states in its head is sent as a header too."""
    policy = NOTHING_RUNS
    if response.mimetype == "text/html":
        found = _POLICY.search(response.get_data()[:_HEAD].decode("utf-8", "replace"))
        policy = html.unescape(found[1]) if found else NOTHING_RUNS
    parts = [policy, "frame-ancestors 'none'", *response.headers.getlist("Content-Security-Policy")]
    response.headers["Content-Security-Policy"] = "; ".join(parts)
    response.headers["X-Content-Type-Options"] = "nosniff"
    response.headers["X-Frame-Options"] = "DENY"
    response.headers["Referrer-Policy"] = "no-referrer"
    response.headers["Cross-Origin-Resource-Policy"] = "same-origin"
    response.headers["Cache-Control"] = "no-store"
    return response
