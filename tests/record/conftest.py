"""Records on SQLite, and on PostgreSQL where its programs are at hand; entries to put into them. All of it invented."""

from __future__ import annotations

import contextlib
import importlib.util
import os
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path

import pytest

from upmast.record.kinds import FindingKept, Judgement, Measurement, Photo
from upmast.record.record import Record, Writing, open_record

_field = Path(__file__).parent.parent / "field" / "conftest.py"
_spec = importlib.util.spec_from_file_location("field_fixtures", _field)
assert _spec is not None
assert _spec.loader is not None
_fixtures = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(_fixtures)
catalogue, site, line, proof, designs, make = (
    getattr(_fixtures, name) for name in ("catalogue", "site", "line", "proof", "designs", "make")
)

LINE = "1" * 64
START = datetime(2026, 5, 4, 8, 0, tzinfo=UTC)
Clock = Callable[[], datetime]


@pytest.fixture
def clock() -> Clock:
    """A clock that goes on by one second each time it is read."""
    ticks = count()
    return lambda: START + timedelta(seconds=next(ticks))


def programs() -> Path | None:
    """The folder of PostgreSQL's programs, if there is one."""
    found = shutil.which("initdb")
    if found:
        return Path(found).resolve().parent
    some = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    return some[-1].parent if some else None


@pytest.fixture(scope="session")
def server() -> Iterator[str]:
    """
    The URL of a PostgreSQL server, without a database: that of UPMAST_TEST_POSTGRESQL, or one of our own that hears no network.
    """
    pytest.importorskip("psycopg", reason="psycopg is not installed: PostgreSQL is not tested")
    given = os.environ.get("UPMAST_TEST_POSTGRESQL")
    if given:
        yield given
        return
    bin_ = programs()
    if bin_ is None:
        pytest.skip("no PostgreSQL server here: give its URL in UPMAST_TEST_POSTGRESQL, or install one")
    folder = Path(tempfile.mkdtemp(prefix="upmast-pg-"))
    who = {"user": "postgres", "group": "postgres"} if os.getuid() == 0 else {}
    user = "postgres"
    try:
        if who:
            shutil.chown(folder, **who)
        subprocess.run(
            [bin_ / "initdb", "-D", folder / "data", "-U", user, "-A", "trust", "-E", "UTF8", "--no-sync"],
            check=True, capture_output=True, timeout=120, cwd=folder, **who,
        )  # fmt: skip
        started = subprocess.Popen(
            [bin_ / "postgres", "-D", folder / "data", "-k", folder, "-c", "listen_addresses=", "-c", "fsync=off"],
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, cwd=folder, **who,
        )  # fmt: skip
    except (OSError, LookupError, subprocess.SubprocessError) as error:
        shutil.rmtree(folder, ignore_errors=True)
        pytest.skip(f"PostgreSQL can't be started here: {error}")
    try:
        url = f"postgresql://{user}@/{{}}?host={folder}"
        if not _answers(url.format("postgres")):
            pytest.skip("PostgreSQL does not answer")
        yield url
    finally:
        started.terminate()
        started.wait(30)
        shutil.rmtree(folder, ignore_errors=True)


def _answers(url: str) -> bool:
    import time

    import psycopg

    for _ in range(100):
        with contextlib.suppress(psycopg.OperationalError), psycopg.connect(url):
            return True
        time.sleep(0.1)
    return False


_numbers = count(1)


@pytest.fixture
def fresh(request: pytest.FixtureRequest) -> Iterator[Callable[[], str]]:
    """Makes new databases on the server."""
    server = request.getfixturevalue("server")
    import psycopg

    made = []
    admin = server.format("postgres")

    def new() -> str:
        name = f"upmast_{os.getpid()}_{next(_numbers)}"
        with psycopg.connect(admin, autocommit=True) as connection:
            connection.execute(f'CREATE DATABASE "{name}"')  # type: ignore[arg-type]
        made.append(name)
        return str(server.format(name))

    yield new
    with psycopg.connect(admin, autocommit=True) as connection:
        for name in made:
            connection.execute(f'DROP DATABASE IF EXISTS "{name}" WITH (FORCE)')  # type: ignore[arg-type]


@pytest.fixture(params=["sqlite", "postgresql"])
def where(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Where a new record may be made, on each kind of database."""
    if request.param == "sqlite":
        return str(tmp_path / "sites.record")
    return str(request.getfixturevalue("fresh")())


@pytest.fixture
def record(where: str, clock: Clock) -> Iterator[Record]:
    with open_record(where, clock=clock) as opened:
        yield opened


@pytest.fixture
def lone(tmp_path: Path, clock: Clock) -> Iterator[Record]:
    """A record on SQLite, for tests that look into its files."""
    with open_record(tmp_path / "lone.record", clock=clock) as opened:
        yield opened


def judged(
    writing: Writing, data: bytes, test: str = "A2-J1.rl.load", value: float = 21.0, *, verdict: str = "passes", rules: str = "rules 1",
    program: str = "upmast 0.1", line: str = LINE, name: str = "sweep.s1p",
) -> str:  # fmt: skip
    """Add a measurement and its judgement; the key of the judgement."""
    content = writing.keep(data)
    key = writing.add(
        Measurement(sort="rf.sweep", name=name, content=content, evidence="A", samples=content, reader="touchstone")
    )
    found = FindingKept(
        code="rf.sweep-return-loss", subject=test, verdict=verdict, value=value, unit="dB", margin=value - 17.7
    )  # type: ignore[arg-type]
    return writing.add(
        Judgement(
            measurement=key,
            test=test,
            line=line,
            verdict=verdict,
            findings=(found,),
            inputs=content,
            rules=rules,
            program=program,
        )  # type: ignore[arg-type]
    )


def photo(writing: Writing, data: bytes, subject: str = "A2-J1", shows: str = "sealed joint") -> str:
    content = writing.keep(data)
    return writing.add(Photo(content=content, name="top.jpg", subject=subject, shows=shows, looks="jpeg"))
