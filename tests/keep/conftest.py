"""A store for each test, on SQLite and on a PostgreSQL that the tests start; none may leave a connection out."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import count
from pathlib import Path
from urllib.parse import quote

import psycopg
import pytest
from postgresql import server

from monitor.basis.clock import SetClock
from monitor.keep.store import Store, open_store
from monitor.seal.chain import link

NOW = 1_767_600_000_000  # 2026-01-05T08:00Z [ms]
_schemas = count(1)


@pytest.fixture(scope="session")
def postgresql() -> Iterator[str]:
    """A running server that only a socket in its own folder leads to: the folder."""
    with server() as folder:
        yield folder


@pytest.fixture
def postgresql_url(postgresql: str) -> Iterator[str]:
    """An empty schema of that server, as the URL of a store."""
    schema = f"store{next(_schemas)}"
    with psycopg.connect(host=postgresql, user="keeper", dbname="postgres", autocommit=True) as admin:
        admin.execute(f"CREATE SCHEMA {schema}")
        yield f"postgresql://keeper@/postgres?host={quote(postgresql)}&options=-csearch_path%3D{schema}"
        admin.execute("SET client_min_messages = warning")
        admin.execute("SET lock_timeout = '5s'")
        admin.execute(f"DROP SCHEMA {schema} CASCADE")


@pytest.fixture
def sqlite_url(tmp_path: Path) -> str:
    return f"sqlite:///{tmp_path}/store.db"


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request: pytest.FixtureRequest) -> str:
    return request.getfixturevalue(f"{request.param}_url")


@pytest.fixture
def clock() -> SetClock:
    return SetClock(NOW)


@pytest.fixture
def open_at(clock: SetClock) -> Iterator[Callable[[str], Store]]:
    """Opens a store at a URL; at the end each must have all its connections back."""
    opened: list[Store] = []

    def open_one(url: str) -> Store:
        opened.append(open_store(url, clock=clock, link=link))
        return opened[-1]

    yield open_one
    left_out = [store._engine.pool.checkedout() for store in opened]
    for store in opened:
        store.close()
    assert left_out == [0] * len(opened)


@pytest.fixture
def store(open_at: Callable[[str], Store], url: str) -> Store:
    return open_at(url)
