"""`listening booths`: let several booths share one PostgreSQL server."""

import argparse
from datetime import UTC, datetime
from pathlib import Path

from listening.console import show
from listening.errors import ListeningError, StudyError
from listening.records.dealt.plan import Plan
from listening.records.dealt.server import Server
from listening.records.study import Study, open_study


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument("folder", type=Path, help="study folder, dealt")
    act = parser.add_mutually_exclusive_group(required=True)
    act.add_argument(
        "--server",
        metavar="ADDRESS",
        help="postgresql://HOST/DATABASE: publish the study there and note it in the station folder; "
        "user, password and TLS come from the environment (PGUSER, PGPASSFILE, "
        "PGSSLMODE=verify-full), never from this line",
    )
    parser.add_argument(
        "--plain-connection",
        action="store_true",
        help="with --server on another machine: no encryption needed, the line is safe in another way",
    )
    act.add_argument("--sql", action="store_true", help="print the SQL that makes functions and roles")
    act.add_argument("--send", action="store_true", help="send what is kept here for the server")
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Publish, print, or send."""
    if args.sql:
        from listening.store import functions

        text = f"{functions.functions_sql()}\n{functions.roles_sql()}"
        show.result(args, [text], {"sql": text})
        return 0
    study = open_study(args.folder)
    return _send(args, study) if args.send else _publish(args, study)


def _publish(args: argparse.Namespace, study: Study) -> int:
    from listening.store import address, open_store, publishing

    plan = Plan.load(study.plan)
    place = _place(args)
    if study.answers.exists():
        raise StudyError(
            f"{study.answers}: answers lie here already; move them first with: "
            f"listening copy {study.answers} {args.server}, then take the file away"
        )
    store = open_store(place)
    published = publishing.publish(
        store,
        study_digest=plan.study_digest,
        protocol_digest=plan.protocol_digest,
        slots=[slot.slot for slot in plan.slots],
        at=datetime.now(UTC).isoformat(timespec="seconds"),
    )
    store.close()
    shared = address.without_user(place)
    Server(url=shared).save(study.server)
    lines = [
        f"published {published.slots} slots of study {plan.study_digest[:12]} on {shared}",
        "roles: listening_booth, listening_desk, listening_analyst"
        if published.roles
        else "this user may not make roles: let the owner run what --sql prints",
        f"copy {study.station} to each booth; set PGUSER there to a user with listening_booth; sit as usual",
    ]
    show.result(args, lines, {"server": shared, "slots": published.slots, "roles": published.roles})
    return 0


def _place(args: argparse.Namespace) -> str:
    """The server's address; what goes without TLS to another machine is said aloud."""
    from listening.store import address

    place = str(args.server)
    if args.plain_connection:
        address.parse(address.without_tls(place))
        return address.without_tls(place)
    url = address.parse(place)
    if address.needs_tls(url):
        raise StudyError(
            f"{address.shown(url)}: is another machine, and its address asks for no encryption; set "
            "sslmode=verify-full in it, or add --plain-connection where the line is safe in another way"
        )
    return place


def _send(args: argparse.Namespace, study: Study) -> int:
    from listening.store.booth import open_booth

    if not study.server.exists():
        raise ListeningError(f"{study.server}: no such file; this station has no server to send to")
    booth = open_booth(Server.load(study.server).url, study.spool)
    left = booth.flush(within_s=30.0)
    refused = booth.refused()
    booth.close(within_s=0.0)
    line = (
        "everything is at the server" if not left else f"{left} messages wait: the server cannot be reached"
    )
    lines = [line]
    if refused:
        lines.append(
            f"{refused} messages were refused by the server and stay in {study.spool}; look into them"
        )
    show.result(args, lines, {"waiting": left, "refused": refused})
    return 2 if left else 1 if refused else 0
