"""The hash of a form: of its content, not of its layout, and the same after a later version added a field."""

import pytest

from listening.records.forms.form import FileForm, Form
from listening.records.keys.key import Key, KeyedClip


class Part(Form):
    name: str


class LaterPart(Form):
    name: str
    colour: str = ""


class File(FileForm):
    format: int = 1
    parts: tuple[Part, ...]


class LaterFile(FileForm):
    format: int = 2
    parts: tuple[LaterPart, ...]
    remark: str = ""


def test_a_field_added_later_leaves_old_hashes_as_they_were() -> None:
    old = File(parts=(Part(name="a"), Part(name="b")))
    assert LaterFile.model_validate_json(old.to_json()).digest() == old.digest()


@pytest.mark.parametrize("changed", [{"remark": "x"}, {"parts": (LaterPart(name="a", colour="red"),)}])
def test_what_a_new_field_says_is_hashed(changed: dict[str, object]) -> None:
    plain = LaterFile(parts=(LaterPart(name="a"),))
    assert plain.model_copy(update=changed).digest() != plain.digest()


def test_the_order_of_clips_is_under_the_seal() -> None:
    one, two = (
        KeyedClip(clip=c, stimulus=f"s{c}", condition="x", presentation="matched", role="study") for c in "ab"
    )
    secret = "0" * 32
    assert (
        Key(secret=secret, clips=(one, two)).sealed_digest()
        != Key(secret=secret, clips=(two, one)).sealed_digest()
    )
