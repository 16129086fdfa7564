from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from jsonschema import Draft202012Validator

from formcheck.faults.catalogue import fault_kinds
from formcheck.measures.values import rep_values
from formcheck.report.schema import schema


def fields(part: dict[str, Any], place: str = "") -> Iterator[tuple[str, dict[str, Any]]]:
    """Every field of every object, with its place."""
    for name, field in part.get("properties", {}).items():
        yield f"{place}/{name}", field
        yield from fields(field, f"{place}/{name}")
        yield from fields(field.get("items", {}), f"{place}/{name}")


def test_it_is_a_json_schema() -> None:
    Draft202012Validator.check_schema(schema())


def test_every_field_says_what_it_is_and_every_number_its_unit() -> None:
    found = dict(fields(schema()))
    assert len(found) > 150
    for place, field in found.items():
        assert field["description"], place
        if "number" in field.get("type", ()):
            assert field["unit"], place


def test_no_object_allows_a_field_that_is_not_described() -> None:
    objects = [
        part
        for _, field in [("", schema()), *fields(schema())]
        for part in (field, field.get("items", {}))
        if "object" in part.get("type", ())
    ]
    assert len(objects) > 10
    for part in objects:
        keyed = "propertyNames" in part  # a map: its keys are an enumeration
        assert part["additionalProperties"] is False or keyed


def test_a_reps_values_and_the_faults_keys_come_from_their_tables() -> None:
    rep = schema()["properties"]["reps"]["items"]["properties"]
    for key, value in rep_values().items():
        assert rep[key]["unit"] == rep[f"{key}_plus_minus"]["unit"] == value.unit
        assert value.about in rep[key]["description"]
    assert rep["faults"]["items"]["enum"] == list(fault_kinds())
