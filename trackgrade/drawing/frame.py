"""The frame of every page: one base template, one style, a content policy; nothing is fetched from anywhere.

A room's page is a template of its own (``templates/`` of that room) that begins ``{% extends "frame.html" %}`` and
fills the blocks ``title``, ``head``, ``main``, ``foot``; what it adds to the style is a file beside it. Classes at
hand: ``frame.css`` (words and tables), ``picture.css`` (drawings of a hold).
"""

from __future__ import annotations

import base64
import contextlib
import hashlib
import sys
from collections.abc import Mapping, Sequence
from functools import cache
from importlib.util import cache_from_source
from pathlib import Path

import jinja2
from markupsafe import Markup

from trackgrade.drawing import palette
from trackgrade.errors import OutputError
from trackgrade.files import write_whole

#: In every page, in this order, after the palette.
SHARED_STYLES = ("frame.css", "picture.css")
NO_RIBBON = Markup()


def render(
    room: str,
    template: str,
    context: Mapping[str, object],
    *,
    styles: Sequence[str] = (),
    rules: str = "",
    script: str = "",
    allow: str = "",
    ribbon: Markup = NO_RIBBON,
) -> str:
    """One HTML document of a room's template, with its style and script written in.

    Parameters
    ----------
    room : the package whose ``templates/`` are looked through first ("report")
    styles : style sheets of the room, after the shared ones
    rules : more style, made by the caller
    script : file of the room's script, or none
    allow : more of the content policy ("connect-src 'self'"): by default a page runs its own script, and loads nothing
    ribbon : what stands above the header: the way around, where a page is one of several
    """
    style = "\n".join((palette.css(), *(source(room, name) for name in (*SHARED_STYLES, *styles)))) + rules
    code = source(room, script) if script else ""
    policy = [
        "default-src 'none'",
        f"style-src '{_hash(style)}'",
        f"script-src '{_hash(code)}'" if code else "script-src 'none'",
        "base-uri 'none'",
        *([allow] if allow else ["form-action 'none'"]),
    ]
    return (
        environment(room)
        .get_template(template)
        .render(**context, policy="; ".join(policy), style=Markup(style), script=Markup(code), ribbon=ribbon)
    )


@cache
def environment(room: str) -> jinja2.Environment:
    """Every value escaped, every unknown name an error."""
    return jinja2.Environment(
        loader=jinja2.ChoiceLoader(
            [jinja2.PackageLoader(f"trackgrade.{room}"), jinja2.PackageLoader("trackgrade.drawing")]
        ),
        bytecode_cache=_Compiled(),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )


@cache
def source(room: str, name: str) -> str:
    """A style or script of ours, as it stands in the package."""
    loader = environment(room).loader
    assert loader is not None, "set above"
    return loader.get_source(environment(room), name)[0]


class _Compiled(jinja2.BytecodeCache):
    """Templates compiled once, and kept where Python keeps its compiled modules, if it does.

    Jinja knows by the template's text whether what is kept still holds.
    """

    def get_cache_key(self, name: str, filename: str | None = None) -> str:
        return cache_from_source(filename or name, optimization="html")

    def load_bytecode(self, bucket: jinja2.bccache.Bucket) -> None:
        with contextlib.suppress(OSError), Path(bucket.key).open("rb") as file:
            bucket.load_bytecode(file)

    def dump_bytecode(self, bucket: jinja2.bccache.Bucket) -> None:
        if not sys.dont_write_bytecode:
            with contextlib.suppress(OutputError):  # as Python does where it may not write
                write_whole(bucket.key, bucket.bytecode_to_string())


def _hash(text: str) -> str:
    """As a content security policy names an inline block (W3C Content Security Policy Level 2, section 7.17.2)."""
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
