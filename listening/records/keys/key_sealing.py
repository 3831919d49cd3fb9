"""The key under a pass phrase that a second person holds: one file, closed without it."""

import base64
import json
import os
from typing import Literal

from listening.errors import StudyError
from listening.records.forms.form import FileForm
from listening.records.keys.key import Key
from listening.records.study import Study

SHORTEST = 12  # characters of a pass phrase
SCRYPT_N, SCRYPT_R, SCRYPT_P = 2**17, 8, 1  # 128 MB and some tenths of a second for each guess; RFC 7914
SALT_BYTES, NONCE_BYTES, KEY_BYTES = 16, 12, 32


class SealedKey(FileForm):
    """A key under a pass phrase: scrypt (RFC 7914), then AES-256-GCM (NIST SP 800-38D)."""

    format: int = 1
    derivation: Literal["scrypt"] = "scrypt"
    n: int
    r: int
    p: int
    salt: str
    """Hexadecimal."""
    cipher: Literal["AES-256-GCM"] = "AES-256-GCM"
    nonce: str
    """Hexadecimal."""
    sealed: str
    """The key's JSON, enciphered and authenticated, base 64."""


def seal(key: Key, phrase: str) -> SealedKey:
    """The key under a pass phrase; every call gives other bytes.

    Raises
    ------
    StudyError
        The phrase is too short.
    """
    from cryptography.hazmat.primitives.ciphers.aead import AESGCM

    if len(phrase) < SHORTEST:
        raise StudyError(
            f"pass phrase: found {len(phrase)} characters, wanted {SHORTEST} or more; some words in a row "
            "are easier to keep than signs"
        )
    salt, nonce = os.urandom(SALT_BYTES), os.urandom(NONCE_BYTES)
    empty = SealedKey(n=SCRYPT_N, r=SCRYPT_R, p=SCRYPT_P, salt=salt.hex(), nonce=nonce.hex(), sealed="")
    plain = json.dumps(key.model_dump(mode="json")).encode()
    sealed = AESGCM(_derived(empty, phrase)).encrypt(nonce, plain, _beside(empty))
    return empty.model_copy(update={"sealed": base64.b64encode(sealed).decode()})


def unseal(sealed: SealedKey, phrase: str, where: str) -> Key:
    """The key out of its seal.

    Parameters
    ----------
    where : the file, for messages

    Raises
    ------
    StudyError
        The phrase is not the one, or the file was changed.
    """
    from cryptography.exceptions import InvalidTag
    from cryptography.hazmat.primitives.ciphers.aead import AESGCM

    try:
        body = base64.b64decode(sealed.sealed, validate=True)
        derived = _derived(sealed, phrase)
        plain = AESGCM(derived).decrypt(bytes.fromhex(sealed.nonce), body, _beside(sealed))
    except (InvalidTag, ValueError) as error:
        raise StudyError(
            f"{where}: does not open with this pass phrase, or was changed; ask whoever holds it, or restore "
            "the dealt file. Nothing was opened"
        ) from error
    return Key.model_validate_json(plain)


def load(study: Study) -> Key:
    """The key of a study, the pass phrase asked for where it is sealed.

    Raises
    ------
    StudyError
        It is sealed and nobody can be asked, or the phrase is not the one.
    MissingFile, RecordError
        There is no key, or it cannot be read.
    """
    if not study.sealed_key.is_file():
        return Key.load(study.key)
    if study.passphrase is None:
        raise StudyError(
            f"{study.sealed_key}: sealed under a pass phrase, and this step cannot ask for it; run it in a "
            "terminal, or give the phrase with --passphrase-fd"
        )
    return unseal(SealedKey.load(study.sealed_key), study.passphrase(), str(study.sealed_key))


def _derived(sealed: SealedKey, phrase: str) -> bytes:
    from cryptography.hazmat.primitives.kdf.scrypt import Scrypt

    salt = bytes.fromhex(sealed.salt)
    return Scrypt(salt=salt, length=KEY_BYTES, n=sealed.n, r=sealed.r, p=sealed.p).derive(phrase.encode())


def _beside(sealed: SealedKey) -> bytes:
    """What is authenticated but not enciphered: how the key was derived."""
    told = (sealed.format, sealed.derivation, sealed.n, sealed.r, sealed.p, sealed.salt, sealed.cipher)
    return json.dumps(told).encode()
