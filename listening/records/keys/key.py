"""The sealed key: which coded clip is which stimulus. No screen or session module may import this file."""

import hashlib
import hmac
from typing import Annotated, Literal

from listening.records.forms.form import FileForm, Form, hashed
from listening.records.protocols.roles import FIRST_NAMED_ANCHOR

Role = Annotated[Literal["study", "control", "example", "level check"], *FIRST_NAMED_ANCHOR]


class KeyedClip(Form):
    """One clip and what it is."""

    clip: str
    stimulus: str
    condition: str
    presentation: str
    role: Role
    gain_db: float = 0.0
    """Beyond the stimulus' own level: the known gain of a control pair."""


class Key(FileForm):
    """The whole key."""

    format: int = 1
    secret: str
    """128 bit, hexadecimal; codes and the salted hash come from it and it lies nowhere else."""
    clips: tuple[KeyedClip, ...]

    def sealed_digest(self) -> str:
        """Hash of the clip table, keyed with the secret: commits to the key, tells nothing about it."""
        table = "\n".join(hashed(clip) for clip in self.clips)
        return hmac.new(bytes.fromhex(self.secret), table.encode(), hashlib.sha256).hexdigest()
