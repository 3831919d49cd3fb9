"""Bytes that hang on the sealed secret and on what they are for: nobody makes them again without it."""

import hashlib
import hmac

SECRET_DIGITS = 32  # 128 bit, hexadecimal


def keyed(secret: str, purpose: str, *parts: str | int) -> bytes:
    """HMAC-SHA-256 of purpose and parts under the secret; each part carries its length.

    Parameters
    ----------
    secret : 32 hexadecimal digits

    Raises
    ------
    ValueError
        The secret is not hexadecimal.

    Source: RFC 2104, FIPS 180-4.
    """
    told = "".join(f"{len(text)}:{text}," for text in map(str, (purpose, *parts)))
    return hmac.new(bytes.fromhex(secret), told.encode(), hashlib.sha256).digest()
