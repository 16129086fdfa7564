"""The JSON Schema of report.json, made from the tables that describe its fields.

    python -m formcheck.report.schema

prints it. A fault or value that was added from outside is in it from then on.
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterable, Mapping
from functools import cache
from importlib.resources import files
from typing import Any

from formcheck.faults.catalogue import fault_kinds
from formcheck.faults.limits import default_limits
from formcheck.measures.values import rep_values

_TYPES = {"text": "string", "number": "number", "whole": "integer", "flag": "boolean"}
_PLUS_MINUS = "half-width of the 95 % interval of "


def schema() -> dict[str, Any]:
    """The JSON Schema (draft 2020-12): every field with its unit, nothing else allowed.

    Required is what every version has promised, so that an earlier report still reads.
    """
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": "urn:formcheck:report:1",
        "title": "A judged push-up set",
        **_object("report"),
    }


@cache
def _tables() -> Mapping[str, Mapping[str, Mapping[str, Any]]]:
    return tomllib.loads(files("formcheck.report").joinpath("fields.toml").read_text("utf-8"))


def _object(name: str) -> dict[str, Any]:
    fields: dict[str, Mapping[str, Any]] = dict(_tables()[name])
    if name == "rep":
        for value in rep_values().values():
            about = f"{value.label}: {value.about}"
            fields[value.key] = {
                "type": "number?", "unit": value.unit, "plus_minus": True, "about": about,
                "promised": value.promised,
            }  # fmt: skip
    properties: dict[str, Any] = {}
    for key, row in fields.items():
        properties[key] = _field(row)
        if row.get("plus_minus"):
            properties[f"{key}_plus_minus"] = {
                "type": ["number", "null"],
                "minimum": 0,
                "unit": row["unit"],
                "description": _PLUS_MINUS + key,
            }
    return {
        "type": "object",
        "required": [key for key, row in fields.items() if row.get("promised")],
        "properties": properties,
        "additionalProperties": False,
    }


def _field(row: Mapping[str, Any]) -> dict[str, Any]:
    said = {"description": row["about"]}
    if "object" in row:
        inner = _object(row["object"])
        kind = ["object", "null"] if row.get("or_null") else "object"
        return {**inner, "type": kind, **said}
    if "list_of" in row:
        return {"type": "array", "items": _item(row["list_of"]), **said}
    if "map_of" in row:
        names = {"enum": list(_keys(row["keys"]))}
        kind = [_TYPES[row["map_of"]], "null"]
        return {
            "type": "object",
            "propertyNames": names,
            "additionalProperties": {"type": kind},
            **said,
        }
    return {**_plain(row), **said}


def _plain(row: Mapping[str, Any]) -> dict[str, Any]:
    kind, nullable = _TYPES[row["type"].removesuffix("?")], row["type"].endswith("?")
    out: dict[str, Any] = {"type": [kind, "null"] if nullable else kind}
    names = {"unit": "unit", "least": "minimum", "most": "maximum", "pattern": "pattern"}
    out |= {theirs: row[ours] for ours, theirs in names.items() if ours in row}
    if "one_of" in row:
        out["enum"] = [*row["one_of"], *([None] if nullable else [])]
    if "keys" in row:
        out["enum"] = list(_keys(row["keys"]))
    return out


def _item(name: str) -> dict[str, Any]:
    choices = {"side": ["left", "right"], "end": ["top", "bottom"], "fault_key": _keys("fault")}
    if name in choices:
        return {"type": "string", "enum": list(choices[name])}
    return {"type": "string"} if name == "text" else _object(name)


def _keys(of: str) -> Iterable[str]:
    return {"fault": fault_kinds, "limit": default_limits, "value": rep_values}[of]()


if __name__ == "__main__":
    print(json.dumps(schema(), indent=1, ensure_ascii=False))
