"""What made a file: this program's version, Python, the system, and the libraries that compute."""

import platform
from contextlib import suppress
from functools import cache

from listening import __version__

LIBRARIES = ("numpy", "scipy", "pandas", "numba", "soundfile", "soxr", "pydantic", "sqlalchemy")


@cache
def environment() -> str:
    """One line, the same for as long as nothing is installed anew."""
    system = f"Python {platform.python_version()}, {platform.system()} {platform.machine()}"
    libraries = ", ".join(f"{name} {_version(name)}" for name in LIBRARIES)
    return f"listening {__version__}, {system}, {libraries}"


def _version(name: str) -> str:
    from importlib import metadata  # slow to load, and a sitting's first screen waits for this file

    with suppress(metadata.PackageNotFoundError):
        return metadata.version(name)
    return "missing"
