"""The questions of `listening new`: from options where given, else asked one by one in a terminal."""

import argparse
import os
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from listening.errors import StudyError
from listening.planning import starters
from listening.planning.starters import Answers, Wording
from listening.records.forms import rows as rows_of
from listening.records.forms.text import from_root
from listening.records.protocols import earlier_words
from listening.records.sounds.recordings_table import CALIBRATION, REQUIRED

USUAL_TABLES = (Path("recordings.csv"), Path("recordings/recordings.csv"))
NO_FACTOR = {*REQUIRED, CALIBRATION, "specimen", "unit"}
Ask = Callable[[str], str]


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare one option for each question; what is left out is asked."""
    asked = parser.add_argument_group("answers (what is left out is asked in a terminal)")
    asked.add_argument(
        "--question", type=_kind, choices=list(starters.KINDS), help="what you would like to find out"
    )
    asked.add_argument("--recordings", type=Path, metavar="TABLE.csv", help="table of the recordings")
    asked.add_argument("--factors", metavar="A,B", help="columns that tell the conditions apart")
    asked.add_argument(
        "--use",
        action="append",
        default=[],
        metavar="FACTOR=VALUE,VALUE",
        help="values of a factor to keep; may be given for each factor",
    )
    asked.add_argument(
        "--more", metavar="CONDITION", help="condition said to have more of it, or to be the same"
    )
    asked.add_argument("--than", metavar="CONDITION", help="condition that it is compared with")
    asked.add_argument("--attribute", metavar="WORD", help=f"{', '.join(starters.KNOWN)}, or a word of yours")
    asked.add_argument("--wording", metavar="TEXT", help="what listeners read, for a word of yours")
    asked.add_argument("--comparative", metavar="WORD", help="the word of the claim, such as `brighter`")
    asked.add_argument("--stands-for", metavar="TEXT", help="whom the panel stands for")
    asked.add_argument("--training", choices=("naive", "trained"), help="of the panel")
    asked.add_argument("--listeners", type=int, metavar="N", help="how many listeners (default 24)")
    asked.add_argument("--minutes", type=float, metavar="M", help="how long a sitting may be (default 20)")
    asked.add_argument(
        "--seed", type=int, default=1, help="of the examples that planning counts with (default 1)"
    )


@dataclass(frozen=True)
class Table:
    """The recordings table as far as planning needs it."""

    path: Path
    columns: tuple[str, ...]
    rows: tuple[dict[str, str], ...]

    @property
    def calibrated(self) -> bool:
        """Whether every recording has its calibration."""
        return all((row.get(CALIBRATION) or "").strip() for row in self.rows)

    def levels(self, factor: str) -> tuple[str, ...]:
        """The values of a factor in the order of the table."""
        return tuple(dict.fromkeys(row[factor].strip() for row in self.rows))

    def conditions(self, factors: tuple[str, ...], use: dict[str, tuple[str, ...]]) -> tuple[str, ...]:
        """The conditions that are left when only the levels in `use` are kept."""
        kept = [r for r in self.rows if all(r[f].strip() in use.get(f, (r[f].strip(),)) for f in factors)]
        return tuple(dict.fromkeys("/".join(r[f].strip() for f in factors) for r in kept))


def answers(args: argparse.Namespace, folder: Path, ask: Ask | None = None) -> Answers:
    """Everything a starter needs to know, asked where no option gave it.

    Raises
    ------
    StudyError
        An answer is missing and there is no terminal to ask in, or it does not fit the recordings.
    """
    ask = ask or _terminal()
    kind = _one_of(args.question, ask, "What would you like to find out?", starters.KINDS, "--question")
    table = _table(args.recordings, ask)
    factors = _factors(args.factors, ask, table)
    use = _use(args.use, table, factors)
    conditions = table.conditions(factors, use)
    every = dict.fromkeys(conditions, "")
    more = _one_of(args.more, ask, "Which condition is said to have more (or be the same)?", every, "--more")
    rest = {c: "" for c in conditions if c != more}
    than = _one_of(args.than, ask, "Compared with which one?", rest, "--than")
    attribute, wording = _attribute(args, ask, kind, table)
    stands_for = args.stands_for or ask(
        "Whom does the panel stand for (recruitment, inclusion)? --stands-for"
    )
    if len(stands_for.strip()) < 10:
        raise StudyError(
            f"--stands-for: found `{stands_for}`, wanted at least 10 letters: the sentence names it"
        )
    return Answers(
        kind=kind,  # type: ignore[arg-type]
        name=from_root(folder).name.replace(" ", "_"),
        title=f"{more.replace('/', ', ')} and {than.replace('/', ', ')}: {attribute}",
        folder=Path(os.path.relpath(from_root(table.path.parent), from_root(folder))).as_posix(),
        table=table.path.name,
        factors=factors,
        conditions=conditions,
        use=use,
        more=more,
        than=than,
        attribute=attribute,
        wording=wording,
        stands_for=stands_for.strip(),
        training=_one_of(args.training, ask, "Is the panel trained in listening?", _TRAINING, "--training"),
        listeners=_number(args.listeners, ask, "How many listeners?", 24, "--listeners"),
        minutes=_number(args.minutes, ask, "How many minutes may a sitting take?", 20, "--minutes"),
        calibrated=table.calibrated,
        seed=args.seed,
    )


_TRAINING = {"naive": "nobody was trained", "trained": "listeners were trained"}


def _terminal() -> Ask:
    """Asks at the terminal; without one, says which option is missing."""
    if sys.stdin.isatty():
        return lambda text: input(f"{text.rsplit(' --', 1)[0]}\n> ")

    def refuse(text: str) -> str:
        option = text.rsplit(" ", 1)[1]
        raise StudyError(f"{option} is missing and there is no terminal to ask in; give it as an option")

    return refuse


def _kind(word: str) -> str:
    now = earlier_words.KINDS.get(word, word)
    if now != word:
        earlier_words.tell("--question", word, now)
    return now


def _one_of(given: str | None, ask: Ask, text: str, known: dict[str, str], option: str) -> str:
    """One of the known words, by word or by number; Enter takes the first."""
    listing = "\n".join(
        f"  {i + 1}  {word}{': ' if about else ''}{about}" for i, (word, about) in enumerate(known.items())
    )
    words = list(known)
    usual = words[0] if words else ""
    said = (
        given if given is not None else ask(f"{text}\n{listing}\n(Enter: {usual}) {option}").strip() or usual
    )
    if said.isdigit() and 1 <= int(said) <= len(words) and said not in words:
        return words[int(said) - 1]
    if said not in words:
        raise StudyError(f"{option}: found `{said}`, wanted one of {', '.join(words)}")
    return said


def _number(given: float | None, ask: Ask, text: str, usual: int, option: str) -> int:
    if given is not None:
        said = str(given)
    elif sys.stdin.isatty():
        said = ask(f"{text} (Enter: {usual}) {option}").strip() or str(usual)
    else:
        said = str(usual)
    try:
        number = float(said)
    except ValueError:
        number = 0.0
    if not 1 <= number <= 10000:
        raise StudyError(f"{option}: found `{said}`, wanted a number from 1 to 10000")
    return int(number)


def _table(given: Path | None, ask: Ask) -> Table:
    usual = next((path for path in USUAL_TABLES if path.is_file()), None)
    enter = f" (Enter: {usual})" if usual else ""
    asked = f"Where is the table of the recordings (a CSV file)?{enter} --recordings"
    path = given or Path(ask(asked).strip() or usual or "")
    path = path / "recordings.csv" if path.is_dir() else path
    read = rows_of.read(path)
    if (uneven := read.uneven()) is not None:
        raise StudyError(
            f"{path}, line {read.lines[uneven]}: found {len(read.cells[uneven])} cells, wanted "
            f"{len(read.heading)} as in the heading"
        )
    rows, columns = tuple(read.dicts()), read.heading
    missing = [name for name in REQUIRED if name not in columns]
    if missing or not rows:
        raise StudyError(
            f"{path}: found columns {', '.join(columns) or 'none'} and {len(rows)} rows; wanted at least one "
            f"row, and the columns {', '.join(REQUIRED)} beside those that tell the conditions apart"
        )
    return Table(path, columns, rows)


def _factors(given: str | None, ask: Ask, table: Table) -> tuple[str, ...]:
    possible = [name for name in table.columns if name not in NO_FACTOR]
    usual = ",".join(possible)
    said = given or ask(f"Which columns tell the conditions apart? (comma between; Enter: {usual}) --factors")
    said = said.strip() or usual
    factors = tuple(name.strip() for name in said.split(",") if name.strip())
    unknown = [name for name in factors if name not in table.columns]
    if unknown or not factors:
        raise StudyError(f"--factors: found `{said}`, wanted columns of {table.path}: {', '.join(possible)}")
    return factors


def _use(given: list[str], table: Table, factors: tuple[str, ...]) -> dict[str, tuple[str, ...]]:
    use: dict[str, tuple[str, ...]] = {}
    for entry in given:
        factor, _, levels = entry.partition("=")
        kept = tuple(level.strip() for level in levels.split(",") if level.strip())
        if factor not in factors or not kept or any(level not in table.levels(factor) for level in kept):
            known = "; ".join(f"{name}={','.join(table.levels(name))}" for name in factors)
            raise StudyError(f"--use {entry}: wanted a factor and values of it: {known}")
        use[factor] = kept
    return use


def _attribute(args: argparse.Namespace, ask: Ask, kind: str, table: Table) -> tuple[str, Wording]:
    usual = {"preference": "preference", "discrimination": "difference"}.get(kind, "")
    said = args.attribute or usual
    if not said:
        names = [name for name in starters.KNOWN if name not in ("preference", "difference")]
        asked = f"Which attribute of the sound? ({', '.join(names)}, or a word of yours; Enter: {names[0]})"
        said = ask(f"{asked} --attribute").strip() or names[0]
    if said in starters.KNOWN:
        return said, _with_examples(starters.KNOWN[said], table.path.parent)
    question = args.wording or ask(f"What are listeners asked about {said}, of two sounds? --wording")
    comparative = args.comparative or ask("Which word would the claim use, such as `brighter`? --comparative")
    return said, Wording(question.strip(), comparative.strip(), "")


def _with_examples(wording: Wording, folder: Path) -> Wording:
    """The wording with its two example sounds, if they lie with the recordings."""
    there = wording.more and (folder / wording.more).is_file() and (folder / wording.less).is_file()
    if there:
        return wording
    return Wording(wording.question, wording.comparative, wording.explanation, wording.about_level)
