"""A hash as people copy it by hand."""

from base64 import b32encode

CODE_LETTERS, CODE_GROUP = 16, 4  # 80 bit: nobody makes a second record with the same code


def code(digest: str) -> str:
    """16 letters and digits (80 bit, RFC 4648 base 32) in groups of four; empty for no hash.

    Parameters
    ----------
    digest : hexadecimal
    """
    if not digest:
        return ""
    letters = b32encode(bytes.fromhex(digest)).decode().lower()[:CODE_LETTERS]
    return "-".join(letters[i : i + CODE_GROUP] for i in range(0, CODE_LETTERS, CODE_GROUP))


def plain(typed: str) -> str:
    """What somebody typed of a code, without hyphens and capitals."""
    return "".join(typed.lower().replace("-", " ").split())
