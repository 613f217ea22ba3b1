"""The JSON Schema (2020-12) of the debrief file, made from the dataclasses that `plain` writes, by the same rules."""

from __future__ import annotations

import json
import types
from dataclasses import is_dataclass
from typing import Annotated, Any, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

from trackgrade.exports.debrief_file import BETWEEN, DebriefFile
from trackgrade.exports.plain import DIRECTIONS, POSITIONS, kept
from trackgrade.segment.flown import Moment

Schema = dict[str, Any]

UTC: Schema = {
    "type": "string",
    "pattern": r"^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}\.\d{3}Z$",
    "description": "ISO 8601 UTC with milliseconds",
}
DIRECTION: Schema = {"type": "number", "minimum": 0, "exclusiveMaximum": 360, "description": "degrees, 0 to 360"}
NULL: Schema = {"type": "null"}
SIMPLE: dict[Any, Schema] = {
    str: {"type": "string"},
    bool: {"type": "boolean"},
    int: {"type": "integer"},
    float: {"type": ["number", "null"]},  # NaN is written as null
    type(None): NULL,
}


def debrief_schema() -> Schema:
    """The schema that every debrief written here fulfils."""
    defs: dict[str, Schema] = {"utc": UTC, "direction": DIRECTION}
    top = _object(DebriefFile, defs)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "trackgrade debrief",
        **top,
        "$defs": dict(sorted(defs.items())),
    }


def schema_text() -> str:
    """The schema as its file has it: a line a key, and a line a key of each object in it."""

    def lines(values: Schema, indent: str, deeper: int) -> str:
        inner = (
            f"{indent} {json.dumps(key)}: "
            + (lines(value, indent + " ", deeper - 1) if deeper and isinstance(value, dict) else json.dumps(value))
            for key, value in values.items()
        )
        return "{\n" + ",\n".join(inner) + f"\n{indent}}}"

    return lines(debrief_schema(), "", 1) + "\n"


def _object(cls: Any, defs: dict[str, Schema]) -> Schema:
    properties = _properties(cls, frozenset(), defs)
    about = " ".join((cls.__doc__ or "").split("\n\n")[0].split())
    return {
        "type": "object",
        "description": about,
        "required": list(properties),
        "properties": properties,
        **BETWEEN.get(cls, {}),
    }


def _properties(cls: Any, leave_out: frozenset[str], defs: dict[str, Schema]) -> dict[str, Schema]:
    """The keys of a dataclass, by the rules of `trackgrade.exports.plain`."""
    out: dict[str, Schema] = {}
    plain_class = get_origin(cls) or cls
    hints = get_type_hints(plain_class, include_extras=True)
    for each in kept(plain_class, leave_out):
        name, hint = each.name, hints[each.name]
        if isinstance(hint, TypeVar):
            (hint,) = get_args(cls)
        if "spread" in each.metadata:
            out |= _properties(hint, each.metadata["spread"], defs)
        elif name.endswith("epoch_s"):
            out[name.removesuffix("epoch_s") + "utc"] = _or_null({"$ref": "#/$defs/utc"}, hint)
        elif Moment in (hint, *get_args(hint)):
            out[f"{name}_utc"] = _or_null({"$ref": "#/$defs/utc"}, hint)
            out[f"{name}_sd_s"] = SIMPLE[float] | {"minimum": 0}
        elif name.endswith(DIRECTIONS) and float in (hint, *get_args(hint)):
            out[name] = {"anyOf": [{"$ref": "#/$defs/direction"}, NULL]}
        elif name.endswith(POSITIONS):
            out[name] = {"type": "number", "minimum": -180 if name.endswith("_lon") else -90, "maximum": 360}
        else:
            out[name.removesuffix("_")] = _of(hint, defs)
    return out


def _or_null(schema: Schema, hint: Any) -> Schema:
    return {"anyOf": [schema, NULL]} if type(None) in get_args(hint) else schema


def _of(hint: Any, defs: dict[str, Schema]) -> Schema:
    """The schema of a type hint; a dataclass is put among the definitions and referred to."""
    if hint in SIMPLE:
        return SIMPLE[hint]
    origin, args = get_origin(hint), get_args(hint)
    if origin is Annotated:  # "never empty"
        return _of(args[0], defs) | {"minItems": 1}
    if origin is Literal:
        return {"enum": list(args)}
    if origin is tuple:
        many: Schema = {"type": "array", "items": _of(args[0], defs)}
        return many if args[-1] is ... else many | {"minItems": len(args), "maxItems": len(args)}
    if origin in (Union, types.UnionType):
        return _union(args, defs)
    if is_dataclass(origin or hint):
        name = hint.__name__ + "".join(each.__name__ for each in args)  # OfLap[Correction] is OfLapCorrection
        if name not in defs:
            defs[name] = {}  # its place, for a dataclass that holds another of its kind
            defs[name] = _object(hint, defs)
        return {"$ref": f"#/$defs/{name}"}
    raise TypeError(f"no schema for {hint!r}")


def _union(args: tuple[Any, ...], defs: dict[str, Schema]) -> Schema:
    if args == (float, type(None)):
        return SIMPLE[float]
    if len(args) == 2 and args[1] is type(None) and args[0] in SIMPLE:
        return {"type": [SIMPLE[args[0]]["type"], "null"]}
    return {"anyOf": [_of(each, defs) for each in args]}
