"""The debrief as one self-contained HTML page.

`render` is the whole edge: a debrief in, text out, no file and no clock. The page carries its style, its script and
its data; a content policy in its head lets nothing else run or load, so a name from a file stays a name.
"""

from __future__ import annotations

import base64
import dataclasses
import hashlib
from functools import cache

import jinja2
from markupsafe import Markup

from trackgrade.report.context import page_of
from trackgrade.score.debrief import Debrief


def render(debrief: Debrief) -> str:
    """One HTML document. The same debrief gives the same text."""
    page = page_of(debrief)
    context = {field.name: getattr(page, field.name) for field in dataclasses.fields(page)}
    return render_template("page.html", "page.css", "page.js", context)


def render_template(template: str, style_name: str, script_name: str | None, context: dict[str, object]) -> str:
    """A template with its style and script written in, and a content policy that names them by their hash."""
    style = _source(style_name)
    script = _source(script_name) if script_name else ""
    quoted = f"'{_hash(script)}'" if script else "'none'"
    policy = f"default-src 'none'; style-src '{_hash(style)}'; script-src {quoted}; base-uri 'none'; form-action 'none'"
    return (
        environment()
        .get_template(template)
        .render(**context, policy=policy, style=Markup(style), script=Markup(script))
    )


@cache
def environment() -> jinja2.Environment:
    """Every value escaped, every unknown name an error."""
    return jinja2.Environment(
        loader=jinja2.PackageLoader("trackgrade.report"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )


@cache
def _source(name: str) -> str:
    """A style or script of ours, as it stands in the package."""
    loader = environment().loader
    assert loader is not None, "set above"
    return loader.get_source(environment(), name)[0]


def _hash(text: str) -> str:
    """As a content security policy names an inline block (W3C Content Security Policy Level 2, section 7.17.2)."""
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
