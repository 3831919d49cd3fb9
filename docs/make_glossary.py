"""Writes the tables of `docs/glossary.md`: metrics, keys of a protocol and columns, each from its home."""

import sys
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from listening.analysis.again import column_meanings, exported_tables  # noqa: E402
from listening.records.forms import reference
from listening.records.kinds import metric_register

PAGE = ROOT / "docs" / "glossary.md"
MARK = "\n## Metrics\n"


def keys() -> dict[str, str]:
    """Every key of a protocol with what it says; a key that stands in several tables has a line for each."""
    found: dict[str, list[str]] = {}
    for heading, form in reference.sections():
        own = heading.strip("[]").rpartition(".")[2]
        if own:
            found.setdefault(own, []).append(" ".join((form.__doc__ or "").split()))
        for name, field in form.model_fields.items():
            if field.description:
                found.setdefault(name, []).append(f"`{heading or 'top'}`: {field.description}")
    return {name: " ".join(dict.fromkeys(said)) for name, said in found.items()}


def columns() -> dict[str, str]:
    """Every column of the exported tables with its meaning."""
    homes = [exported_tables.MEANINGS, exported_tables.MODEL_MEANINGS, exported_tables.OWN_MEANINGS]
    homes += [exported_tables.DISCRIMINATED_MEANINGS, *column_meanings.OF_TABLE.values()]
    found: dict[str, list[str]] = {}
    for home in homes:
        for name, said in home.items():
            found.setdefault(name, []).append(said)
    return {name: "; ".join(dict.fromkeys(said)) for name, said in found.items()}


def page() -> str:
    """The glossary with its tables as they are now."""
    written = PAGE.read_text().partition(MARK)[0].rstrip("\n")
    return "\n".join([written, *_tables()]) + "\n"


def _tables() -> Iterator[str]:
    yield f"{MARK}\n| key | name | what it is | standard |\n|---|---|---|---|"
    for m in metric_register.ALL:
        name = f"{m.name}, {m.unit}" if m.unit else m.name
        yield f"| `{m.key}` | {name} | {m.plain.format('a sound')} | {m.standard or 'our own'} |"
    for title, found in (("Keys of a protocol", keys()), ("Columns of exported tables", columns())):
        yield f"\n## {title}\n\n| word | what it says |\n|---|---|"
        for name in sorted(found):
            yield f"| `{name}` | {found[name].replace('|', '/')} |"


if __name__ == "__main__":
    PAGE.write_text(page())
    print(f"written: {PAGE}")
