"""What chance decides in a deal: a generator for each purpose and slot, keyed with the sealed secret."""

import hashlib
from dataclasses import dataclass
from typing import Self

import numpy as np

from listening.records.dealt.secret import SECRET_DIGITS, keyed


@dataclass(frozen=True)
class Draws:
    """Generators that nobody can make again without the secret, and that are the same each time with it."""

    secret: str
    """32 hexadecimal digits."""

    @classmethod
    def open_to_all(cls, seed: int) -> Self:
        """Draws that anybody can make again: for planning, tests and demonstrations, never for a study."""
        return cls(open_secret(seed))

    def of(self, purpose: str, *parts: str | int) -> np.random.Generator:
        """The generator of one purpose; `parts` say which block or slot.

        Its seed is HMAC-SHA-256 of purpose and parts, keyed with the secret (RFC 2104, FIPS 180-4).
        """
        return np.random.default_rng(int.from_bytes(keyed(self.secret, purpose, *parts)))


def open_secret(seed: int) -> str:
    """The secret behind `Draws.open_to_all`."""
    told = f"open to all, for planning, tests and demonstrations: {seed}"
    return hashlib.sha256(told.encode()).hexdigest()[:SECRET_DIGITS]
