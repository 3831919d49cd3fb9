"""A PostgreSQL server of our own for the tests: a non-root user, a Unix socket, no network."""

import os
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

OWNER = "postgres"
WITH_PASSWORD = "user_with_password"  # this one must give it; the others are trusted


@dataclass(frozen=True)
class Server:
    """A running server."""

    folder: Path
    programs: Path

    def run(self, program: str, *words: str) -> str:
        """Run one of the server's programs as its owner."""
        owner = {"user": OWNER, "group": OWNER, "extra_groups": []} if os.geteuid() == 0 else {}
        done = subprocess.run(
            [str(self.programs / program), *words],
            capture_output=True,
            text=True,
            cwd="/",
            check=False,
            **owner,
        )
        assert done.returncode == 0, f"{program} {words}: {done.stdout} {done.stderr}"
        return done.stdout

    def control(self, act: str, *words: str) -> None:
        """Start, stop or restart it."""
        data, log = str(self.folder / "data"), str(self.folder / "log")
        socket = f"-c listen_addresses='' -c unix_socket_directories='{self.folder}' -c max_connections=200"
        options = ("-o", socket) if act in ("start", "restart") else ()
        self.run("pg_ctl", act, "-w", "-D", data, "-l", log, *options, *words)

    def url(self, database: str, user: str = OWNER) -> str:
        """The address of one database."""
        return f"postgresql://{user}@/{database}?host={self.folder}"

    def sql(self, text: str) -> str:
        """Run SQL as the server's owner; the first cell of its answer."""
        import psycopg

        with psycopg.connect(host=str(self.folder), user=OWNER, dbname=OWNER, autocommit=True) as connection:
            cursor = connection.execute(text)
            row = cursor.fetchone() if cursor.description else None
        return str(row[0]) if row else ""


def _programs() -> Path | None:
    found = shutil.which("initdb")
    folders = [*Path("/usr/lib/postgresql").glob("*/bin"), *([Path(found).resolve().parent] if found else [])]
    return next((folder for folder in folders if (folder / "initdb").exists()), None)


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    """A server for this test process."""
    pytest.importorskip("psycopg", reason="psycopg is missing: pip install 'listening[booths]'")
    programs = _programs()
    if programs is None:
        pytest.skip("PostgreSQL is missing: sudo apt-get install postgresql")
    folder = Path(tempfile.mkdtemp(prefix="lt-pg-"))
    if os.geteuid() == 0:
        shutil.chown(folder, OWNER, OWNER)
    folder.chmod(0o755)
    made = Server(folder, programs)
    made.run("initdb", "-D", str(folder / "data"), "-A", "trust", "-U", OWNER, "--no-sync")
    rules = folder / "data" / "pg_hba.conf"
    rules.write_text(f"local all {WITH_PASSWORD} scram-sha-256\n{rules.read_text()}")
    made.control("start")
    yield made
    made.control("stop", "-m", "immediate")
    shutil.rmtree(folder)


@pytest.fixture
def database(server: Server) -> str:
    """The address of an empty database."""
    others = "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = current_database()"
    server.sql(f"{others} AND pid <> pg_backend_pid()")
    server.sql("DROP SCHEMA public CASCADE; CREATE SCHEMA public")
    return server.url("postgres")


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Path | str:
    """Where a store is: the same test runs on both engines."""
    if request.param == "sqlite":
        return tmp_path / "answers.sqlite"
    return str(request.getfixturevalue("database"))


@pytest.fixture
def as_user(server: Server) -> Callable[[str, str], str]:
    """The address of a database as a login user with one of our roles; the user is made on first use."""

    def address(url: str, role: str) -> str:
        user = f"user_{role}"
        has_it = server.sql(f"SELECT 1 FROM pg_roles WHERE rolname = '{user}'")
        if not has_it:
            server.sql(f"CREATE ROLE {user} LOGIN; GRANT listening_{role} TO {user}")
        return url.replace(f"{OWNER}@", f"{user}@")

    return address
