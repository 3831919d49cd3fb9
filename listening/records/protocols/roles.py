"""How the role of a familiarisation example is read and hashed: the first version called it anchor."""

from pydantic import BeforeValidator, PlainSerializer, SerializationInfo

from listening.records.forms.form import AS_FIRST_NAMED


def _read(role: str) -> str:
    return "example" if role == "anchor" else role


def _written(role: str, info: SerializationInfo) -> str:
    return "anchor" if role == "example" and info.context == AS_FIRST_NAMED else role


FIRST_NAMED_ANCHOR = (BeforeValidator(_read), PlainSerializer(_written))
