"""Listening tests and perceptual evaluation for products that ring when struck.

The front door, for notebooks: `open` a study folder, `measure` a sound, find its `partials`.
"""

import importlib
from typing import TYPE_CHECKING

from listening.errors import ListeningError

if TYPE_CHECKING:
    from listening.notebook import open_folder as open
    from listening.steps.measured_sound import measure, partials

__version__ = "0.1.0"
__all__ = ["ListeningError", "__version__", "measure", "open", "partials"]
_BEHIND = {
    "open": ("listening.notebook", "open_folder"),
    "measure": ("listening.steps.measured_sound", "measure"),
    "partials": ("listening.steps.measured_sound", "partials"),
}


def __getattr__(name: str) -> object:
    """What the front door offers, loaded on first use."""
    if name not in _BEHIND:
        raise AttributeError(f"module 'listening' has no attribute {name!r}")
    module, function = _BEHIND[name]
    return getattr(importlib.import_module(module), function)


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
