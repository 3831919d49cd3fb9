"""Any tree as TOML text, values that TOML barely allows included."""

import json
import math
from typing import Any


def dump(tree: Any) -> str:
    """One key a line, everything below it inline."""
    if not isinstance(tree, dict):
        return _value(tree)
    return "".join(f"{json.dumps(key)} = {_value(value)}\n" for key, value in tree.items())


def _value(value: Any) -> str:
    """Not recursive beyond what Python bears: the deepest trees are written by hand."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{json.dumps(k)} = {_value(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(_value(v) for v in value) + "]"
    if isinstance(value, float) and not math.isfinite(value):
        return "nan" if math.isnan(value) else "inf" if value > 0 else "-inf"
    return str(value) if isinstance(value, float) else json.dumps(value)
