"""The protocol form as a JSON Schema for editors, and as a page for people; both from the form itself."""

import json
import types
from collections.abc import Iterator
from typing import Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from listening.records.protocols.protocol import Protocol

HEAD = """# The protocol, key by key

Made from the form itself by `listening schema --page --out docs/protocol.md`; a test keeps it current. A
protocol is one TOML file. Keys without a default must be given. Unknown keys are refused, with a guess at the
one that was meant. An editor that reads JSON Schema can complete and check keys while you type:
`listening schema > protocol.schema.json`.
"""


_LIMITS = {
    "minimum": "from",
    "exclusiveMinimum": "above",
    "maximum": "to",
    "exclusiveMaximum": "below",
    "minLength": "letters from",
    "maxLength": "to",
    "minItems": "entries from",
    "maxItems": "to",
}


def schema() -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of a protocol."""
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **Protocol.model_json_schema()}


def schema_text() -> str:
    """The JSON Schema as text, the same for the same form."""
    return json.dumps(schema(), indent=1, ensure_ascii=False) + "\n"


def page() -> str:
    """Every key of the protocol in Markdown: what it is, its kind, default and range."""
    return HEAD + "".join(_section(heading, form) for heading, form in sections())


def sections() -> Iterator[tuple[str, type[BaseModel]]]:
    """Each table of the protocol with its heading as TOML writes it, the top of the file first."""
    yield "", Protocol
    yield from _inner(Protocol, "")


def _inner(form: type[BaseModel], above: str) -> Iterator[tuple[str, type[BaseModel]]]:
    for name, field in form.model_fields.items():
        inner, is_list = _form_of(field.annotation)
        if inner is not None:
            path = f"{above}{name}"
            yield (f"[[{path}]]" if is_list else f"[{path}]"), inner
            yield from _inner(inner, f"{path}.")


def _section(heading: str, form: type[BaseModel]) -> str:
    limits = form.model_json_schema()["properties"]
    rows = [
        f"| `{name}` | {_kind(field.annotation)}{_range(limits[name])} | {_default(field)} | {_what(field)} |"
        for name, field in form.model_fields.items()
        if _form_of(field.annotation)[0] is None
    ]
    table = "\n".join(["| key | kind | default | what it says |", "|---|---|---|---|", *rows])
    title = f"`{heading}`" if heading else "Top of the file"
    about = " ".join((form.__doc__ or "").split())
    return f"\n## {title}\n\n{about}\n\n{table}\n"


def _form_of(annotation: Any) -> tuple[type[BaseModel] | None, bool]:
    """The form that a key holds, and whether it holds a list of them."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation, False
    inner = [_form_of(part) for part in get_args(annotation) if get_origin(annotation) is not Literal]
    found = next((form for form, _ in inner if form is not None), None)
    is_list = get_origin(annotation) in (list, tuple) or any(listed for form, listed in inner if form)
    return found, found is not None and is_list


def _kind(annotation: Any) -> str:
    origin, parts = get_origin(annotation), get_args(annotation)
    if origin is Literal:
        return " or ".join(f"`{part}`" for part in parts)
    if origin in (Union, types.UnionType):
        return " or ".join(_kind(part) for part in parts if part is not type(None))
    if origin in (list, tuple):
        return f"list of {_kind(parts[0])}"
    if origin is dict:
        return f"table of {_kind(parts[1])}"
    if hasattr(annotation, "__metadata__"):
        return _kind(parts[0])
    names = {str: "text", int: "whole number", float: "number", bool: "true or false"}
    return names.get(annotation, str(getattr(annotation, "__name__", annotation)))


def _range(limits: dict[str, Any]) -> str:
    """The limits of a key in words, from its part of the JSON Schema."""
    every = limits | next((part for part in limits.get("anyOf", []) if part.get("type") != "null"), {})
    told = [f"{words} {every[name]:g}" for name, words in _LIMITS.items() if name in every]
    return f", {' '.join(told)}" if told else ""


def _default(field: FieldInfo) -> str:
    if field.is_required():
        return "must be given"
    value = field.get_default(call_default_factory=True)
    if value is None:
        return "none"
    return f"`{json.dumps(value, ensure_ascii=False)}`"


def _what(field: FieldInfo) -> str:
    return " ".join((field.description or "").split()).replace("|", "\\|")
