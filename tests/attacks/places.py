"""Every place of a study where somebody may change one thing: files byte by byte, rows column by column."""

import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path

from listening.records.study import Study

Change = Callable[[Study], None]
ANSWER_COLUMNS = {
    "trial": "'777'",
    "attribute": "'loudness'",
    "task": "'2-AFC'",
    "clips": "substr(clips, 10) || ' ' || substr(clips, 1, 8)",
    "answer": "CASE answer WHEN 'first' THEN 'second' ELSE 'first' END",
    "response_s": "response_s + 0.001",
    "plays": "plays + 1",
    "practice": "1 - practice",
    "answered_at": "'2031-01-01T00:00:00.000+00:00'",
    "link": "link + 1",
    "chain": "'00' || substr(chain, 3)",
}
EVENT_COLUMNS = {
    "at": "'2031-01-01T00:00:00.000+00:00'",
    "kind": "kind || 'x'",
    "trial": "'777'",
    "detail": "detail || 'x'",
    "link": "link + 1",
    "chain": "'00' || substr(chain, 3)",
}
SITTING_COLUMNS = {
    "listener": "'X' || substr(listener, 2)",
    "slot": "slot + 100",
    "simulated": "1 - simulated",
    "study_digest": "'00' || substr(study_digest, 3)",
    "started_at": "'2031-01-01T00:00:00.000+00:00'",
    "finished_at": "'2031-01-01T00:00:00.000+00:00'",
    "finished_at taken away": "NULL",
    "site": "'north'",
    "links": "links - 1",
    "head": "'00' || substr(head, 3)",
}
LEDGER_COLUMNS = {
    "at": "'2031-01-01T00:00:00.000+00:00'",
    "kind": "'finished'",
    "sitting": "'00' || substr(sitting, 3)",
    "detail": "detail || 'x'",
    "chain": "'00' || substr(chain, 3)",
}
COPIED = "sitting, '999', attribute, task, clips, answer, response_s, plays, practice, answered_at"
ROWS = {
    "an answer taken out": "DELETE FROM answer WHERE id = 20",
    "the last answer taken out": "DELETE FROM answer WHERE id = (SELECT max(id) FROM answer)",
    "an event taken out": "DELETE FROM event WHERE id = 20",
    "the last event taken out": "DELETE FROM event WHERE id = (SELECT max(id) FROM event)",
    "two answers swapped": "UPDATE answer SET id = CASE id WHEN 2 THEN -3 ELSE -2 END"
    " WHERE id IN (2, 3); UPDATE answer SET id = -id WHERE id < 0",
    "an answer doubled": f"INSERT INTO answer SELECT 9999, {COPIED}, link, chain FROM answer WHERE id = 20",
    "an answer without a chain": f"INSERT INTO answer SELECT 9999, {COPIED}, NULL, NULL FROM answer"
    " WHERE id = 20",
    "an event put in": "INSERT INTO event (sitting, at, kind, detail) SELECT sitting, at, 'void', ''"
    " FROM event WHERE id = 20",
    "a removal put in": "INSERT INTO event (at, kind, detail)"
    " VALUES ('2030', 'removal', 'one listener withdrew')",
    "a sitting taken out": "DELETE FROM answer WHERE sitting = (SELECT id FROM sitting LIMIT 1);"
    "DELETE FROM event WHERE sitting = (SELECT id FROM sitting LIMIT 1);"
    "UPDATE slot SET sitting = NULL WHERE sitting = (SELECT id FROM sitting LIMIT 1);"
    "DELETE FROM sitting WHERE id = (SELECT id FROM sitting LIMIT 1)",
    "a slot freed": "UPDATE slot SET sitting = NULL WHERE slot = 1",
    "all turned": "UPDATE answer SET answer = CASE answer WHEN 'first' THEN 'second' ELSE 'first' END",
    "all made human": "UPDATE sitting SET simulated = 0; UPDATE slot SET simulated = 0",
    "the ledger emptied": "DELETE FROM ledger",
    "the ledger's last row": "DELETE FROM ledger WHERE n = (SELECT max(n) FROM ledger)",
    "a row of the ledger": "DELETE FROM ledger WHERE n = 3",
    "all links cut": "UPDATE answer SET link = NULL, chain = NULL;"
    "UPDATE event SET link = NULL, chain = NULL; UPDATE sitting SET links = 0, head = ''",
}


def sql(lines: str) -> Change:
    """A change of the store behind its back."""

    def change(study: Study) -> None:
        with sqlite3.connect(study.answers) as connection:
            connection.executescript(lines)

    return change


def byte(file: str, share: float) -> Change:
    """One byte of a file, so far into it, for its neighbour: a letter or a digit where there is one."""

    def change(study: Study) -> None:
        path = study.root / _found(study, file)
        content = bytearray(path.read_bytes())
        place = next(
            (i for i in range(int(share * len(content)), len(content)) if chr(content[i]).isalnum()),
            len(content) - 1,
        )
        content[place] ^= 1
        path.write_bytes(bytes(content))

    return change


def gone(file: str) -> Change:
    """A file taken away."""
    return lambda study: (study.root / _found(study, file)).unlink()


def text(file: str, old: str, new: str) -> Change:
    """One text for another."""

    def change(study: Study) -> None:
        path = study.root / file
        content = path.read_text()
        assert old in content, (file, old)
        path.write_text(content.replace(old, new, 1))

    return change


def lines(file: str, pick: Callable[[list[str]], list[str]]) -> Change:
    """Other lines in a file."""

    def change(study: Study) -> None:
        path = study.root / file
        path.write_text("".join(pick(path.read_text().splitlines(keepends=True))))

    return change


def _found(study: Study, file: str) -> Path:
    """A file by its path, or the first that a pattern fits."""
    return next(iter(sorted(study.root.glob(file)))).relative_to(study.root)


def _extra_clip(study: Study) -> None:
    shutil.copyfile(study.root / _found(study, "station/clips/*.wav"), study.clips / "zzzzzzzz.wav")


def _swapped_clips(study: Study) -> None:
    one, two = sorted(study.clips.iterdir())[:2]
    kept = one.read_bytes()
    one.write_bytes(two.read_bytes())
    two.write_bytes(kept)


def _store() -> dict[str, Change]:
    made: dict[str, Change] = {f"store: {name}": sql(line) for name, line in ROWS.items()}
    for table, columns, ids in (
        ("answer", ANSWER_COLUMNS, ("5", "20", "(SELECT max(id) FROM answer)")),
        ("event", EVENT_COLUMNS, ("1", "20", "(SELECT max(id) FROM event)")),
    ):
        for which, row in zip(("early", "middle", "last"), ids, strict=True):
            for column, value in columns.items():
                line = f"UPDATE {table} SET {column} = {value} WHERE id = {row}"
                made[f"store: {which} {table}, {column}"] = sql(line)
    for column, value in SITTING_COLUMNS.items():
        line = f"UPDATE sitting SET {column.split()[0]} = {value} WHERE slot = 1"
        made[f"store: sitting, {column}"] = sql(line)
    for column, value in LEDGER_COLUMNS.items():
        made[f"store: ledger, {column}"] = sql(f"UPDATE ledger SET {column} = {value} WHERE n = 1")
    return made


ENVIRONMENTS = ("station/plan.json", "sealed/key.json", "sealed/frozen.json", "history.json", "findings.json")
BYTES = {
    "protocol.toml": (0.3, 0.9),
    "stimuli/manifest.json": (0.2, 0.8),
    "stimuli/*.flac": (0.9,),
    "station/plan.json": (0.1, 0.5, 0.9),
    "station/clips/*.wav": (0.1, 0.6, 0.999),
    "sealed/key.json": (0.2, 0.7),
    "sealed/frozen.json": (0.2, 0.5, 0.8),
    "sealed/protocol.toml": (0.5,),
    "sealed/manifest.json": (0.5,),
    "sealed/openings.log": (0.5,),
    "history.json": (0.5, 0.8),
    "record.jsonl": (0.05, 0.4, 0.8),
    "measures.json": (0.5,),
    "findings.json": (0.05, 0.3, 0.6, 0.95),
    "report/report.html": (0.3, 0.6, 0.9),
    "report/claims.html": (0.5,),
    "steps.log": (0.3,),
}
GONE = (
    *("station/clips/*.wav", "history.json", "record.jsonl", "sealed/frozen.json", "sealed/openings.log"),
    *("steps.log", "measures.json"),
)
PLACES: dict[str, Change] = {
    **_store(),
    **{f"{file} at {share:.0%}": byte(file, share) for file, shares in BYTES.items() for share in shares},
    **{f"{file} gone": gone(file) for file in GONE},
    **{
        f"{file}, environment": text(file, '"environment": "listening', '"environment": "Listening')
        for file in ENVIRONMENTS
    },
    "an extra clip": _extra_clip,
    "two clips swapped": _swapped_clips,
    "record.jsonl, last line gone": lines("record.jsonl", lambda all_: all_[:-1]),
    "record.jsonl, all but the deal gone": lines("record.jsonl", lambda all_: all_[:1]),
    "record.jsonl, an opening gone": lines("record.jsonl", lambda all_: [all_[0], *all_[2:]]),
    "record.jsonl, lines swapped": lines("record.jsonl", lambda all_: [all_[1], all_[0], *all_[2:]]),
    "record.jsonl, a line doubled": lines("record.jsonl", lambda all_: [*all_, all_[-1]]),
    "sealed/openings.log, a line put in": lines("sealed/openings.log", lambda all_: [*all_, all_[0]]),
}
