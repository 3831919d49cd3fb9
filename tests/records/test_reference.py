"""The schema and the reference page say what the form says, and the page on disk is the current one."""

import json
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from pydantic import BaseModel

from listening.records.forms import reference
from listening.records.protocols.protocol import Protocol

ROOT = Path(__file__).resolve().parents[2]
PROTOCOLS = sorted((ROOT / "protocols").glob("*.toml"))


def test_the_page_on_disk_is_current() -> None:
    assert (ROOT / "docs" / "protocol.md").read_text() == reference.page(), (
        "run: listening schema --page --out docs/protocol.md"
    )


def _fields() -> Iterator[tuple[str, str, Any]]:
    for heading, form in reference.sections():
        for name, field in form.model_fields.items():
            yield heading or "top", name, field


@pytest.mark.parametrize(("table", "name", "field"), list(_fields()), ids=lambda v: str(v)[:30])
def test_every_key_is_described(table: str, name: str, field: Any) -> None:
    holds_a_table = reference._form_of(field.annotation)[0] is not None
    assert holds_a_table or field.description, f"{table} {name}: no description"


def test_every_key_is_on_the_page() -> None:
    page = reference.page()
    for _, name, field in _fields():
        if reference._form_of(field.annotation)[0] is None:
            assert f"| `{name}` |" in page


def test_every_table_of_the_form_has_a_section() -> None:
    forms = {form for _, form in reference.sections()}
    assert set(_all_forms(Protocol)) == forms


def _all_forms(form: type[BaseModel]) -> Iterator[type[BaseModel]]:
    yield form
    for field in form.model_fields.values():
        inner = reference._form_of(field.annotation)[0]
        if inner is not None:
            yield from _all_forms(inner)


def _check(value: Any, schema: dict[str, Any], whole: dict[str, Any]) -> list[str]:
    """The keys of a table that the schema does not know or misses; enough of JSON Schema for this form."""
    if "$ref" in schema:
        return _check(value, whole["$defs"][schema["$ref"].rsplit("/", 1)[1]], whole)
    for part in schema.get("anyOf", []):
        if not _check(value, part, whole):
            return []
    faults: list[str] = []
    if isinstance(value, dict) and "properties" in schema:
        faults += [k for k in value if k not in schema["properties"]]
        faults += [k for k in schema.get("required", []) if k not in value]
        for k, v in value.items():
            faults += _check(v, schema["properties"].get(k, {}), whole)
    if isinstance(value, list) and "items" in schema:
        faults += [fault for v in value for fault in _check(v, schema["items"], whole)]
    if "enum" in schema and value not in schema["enum"]:
        faults.append(str(value))
    return faults


@pytest.mark.parametrize("path", PROTOCOLS, ids=lambda p: p.name)
def test_shipped_protocols_satisfy_the_schema(path: Path) -> None:
    schema = json.loads(reference.schema_text())
    assert _check(tomllib.loads(path.read_text()), schema, schema) == []


def test_the_schema_refuses_a_misspelt_key() -> None:
    schema = json.loads(reference.schema_text())
    raw = tomllib.loads(PROTOCOLS[0].read_text())
    raw["sitting"]["gap_z"] = 1
    assert _check(raw, schema, schema) == ["gap_z"]
