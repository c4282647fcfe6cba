"""Ways in: single use, expiry, ending at once, and that the record holds no secret."""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import sqlalchemy as sa
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    Bundle,
    RuleBasedStateMachine,
    initialize,
    invariant,
    multiple,
    rule,
)

from beltside.base.errors import InputError
from beltside.jobs.access import (
    CODE_LENGTH,
    CODE_LETTERS,
    KEPT_AFTER,
    MOST_OPEN,
    AccessBook,
    new_code,
    new_token,
    plain_code,
)
from beltside.jobs.database import Database, open_database
from beltside.jobs.reading import MissingError
from beltside.jobs.schema import ACCESS

FIVE_MINUTES = timedelta(minutes=5)
A_MONTH = timedelta(days=30)
START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


class Clock:
    """A clock that tests set forward."""

    def __init__(self) -> None:
        self.at = START

    def __call__(self) -> datetime:
        return self.at


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def book(database: Database, clock: Clock) -> AccessBook:
    return AccessBook(database, now=clock)


def code_for(book: AccessBook, name: str = "Ida's phone", role: str = "helper") -> str:
    code = new_code()
    book.make("code", code, role=role, name=name, by="Per", holds_for=FIVE_MINUTES)
    return code


def test_a_code_pairs_one_phone_once(book: AccessBook) -> None:
    code, token = code_for(book), new_token()
    phone = book.exchange(code, token, holds_for=A_MONTH)
    assert phone is not None
    assert (phone.name, phone.role, phone.kind) == ("Ida's phone", "helper", "phone")
    assert book.exchange(code, new_token(), holds_for=A_MONTH) is None
    found = book.holder("phone", token)
    assert found is not None
    assert found.id == phone.id


def test_a_code_is_over_after_its_minutes(book: AccessBook, clock: Clock) -> None:
    code = code_for(book)
    clock.at += FIVE_MINUTES
    assert book.exchange(code, new_token(), holds_for=A_MONTH) is None


def test_of_many_at_once_one_gets_in(book: AccessBook) -> None:
    code, gate = code_for(book), threading.Barrier(6)

    def one(_: int) -> bool:
        gate.wait()
        return book.exchange(code, new_token(), holds_for=A_MONTH) is not None

    with ThreadPoolExecutor(6) as pool:
        assert sum(pool.map(one, range(6))) == 1
    assert len(book.listed("phone")) == 1


def test_a_phone_is_over_after_its_days_and_at_once_when_revoked(
    book: AccessBook, clock: Clock
) -> None:
    tokens = [new_token(), new_token()]
    phones = [book.exchange(code_for(book), token, holds_for=A_MONTH) for token in tokens]
    assert phones[0] is not None
    ended = book.end(phones[0].id, "revoked")
    assert (ended.how_ended, ended.ended_at) == ("revoked", clock.at)
    assert book.holder("phone", tokens[0]) is None
    assert book.end(phones[0].id, "signed out").how_ended == "revoked"
    clock.at += A_MONTH - timedelta(seconds=1)
    assert book.holder("phone", tokens[1]) is not None
    clock.at += timedelta(seconds=1)
    assert book.holder("phone", tokens[1]) is None


def test_last_seen_is_kept(book: AccessBook, clock: Clock) -> None:
    token = new_token()
    book.exchange(code_for(book), token, holds_for=A_MONTH)
    clock.at += timedelta(minutes=7)
    book.holder("phone", token)
    assert book.listed("phone")[0].seen_at == clock.at


def test_a_secret_of_one_kind_opens_no_other(book: AccessBook) -> None:
    code, token = code_for(book), new_token()
    book.exchange(code_for(book), token, holds_for=A_MONTH)
    assert book.holder("link", token) is None
    assert book.holder("code", token) is None
    assert book.holder("phone", code) is None
    assert book.exchange(token, new_token(), holds_for=A_MONTH) is None
    assert book.holder("phone", "") is None
    assert book.holder("phone", "\ud800' OR 1=1 --") is None


def test_the_record_holds_hashes_and_no_secret(book: AccessBook, database: Database) -> None:
    """SHA-256 by hashlib, of the standard library, and a look at every byte that is kept."""
    code, token = code_for(book), new_token()
    book.exchange(code, token, holds_for=A_MONTH)
    with database.reading() as connection:
        rows = connection.execute(sa.select(ACCESS)).all()
    assert {row.secret_sha256 for row in rows} == {
        hashlib.sha256(secret.encode()).hexdigest() for secret in (code, token)
    }
    assert not any(secret in str(row) for row in rows for secret in (code, token))


def test_what_is_not_there_is_said(book: AccessBook) -> None:
    with pytest.raises(MissingError, match="no such phone"):
        book.end("nothing", "revoked")


def test_there_is_a_limit_to_open_codes(book: AccessBook, clock: Clock) -> None:
    for _ in range(MOST_OPEN["code"]):
        code_for(book)
    with pytest.raises(InputError, match="up to 10 at once"):
        code_for(book)
    clock.at += FIVE_MINUTES
    code_for(book)


def test_what_is_long_over_is_taken_out(book: AccessBook, clock: Clock) -> None:
    book.exchange(code_for(book), new_token(), holds_for=A_MONTH)
    clock.at += timedelta(days=121)
    code_for(book)
    assert book.listed("phone") == []
    assert len(book.listed("code")) == 1


def test_all_are_ended_at_once(book: AccessBook) -> None:
    token, code = new_token(), code_for(book)
    book.exchange(code_for(book), token, holds_for=A_MONTH)
    assert book.end_all() == 2
    assert book.holder("phone", token) is None
    assert book.exchange(code, new_token(), holds_for=A_MONTH) is None


def test_codes_are_readable_and_many() -> None:
    codes = {new_code() for _ in range(2000)}
    assert len(codes) == 2000
    assert all(len(code) == CODE_LENGTH and set(code) <= set(CODE_LETTERS) for code in codes)
    assert set("0O1ILU") & set(CODE_LETTERS) == set()
    # 39 bits: a million tries of five minutes each meet one of ten open codes once in 65,000.
    assert len(CODE_LETTERS) ** CODE_LENGTH > 6.5e11
    assert plain_code(" ab2c d3ef\t") == "AB2CD3EF"
    assert len(new_token()) >= 43


class Doors(RuleBasedStateMachine):
    """Any order of pairing, using, waiting, ending: who may come in is what a plain list says."""

    codes = Bundle("codes")
    tokens = Bundle("tokens")

    @initialize()
    def begin(self) -> None:
        self.database = open_database("sqlite://")
        self.clock = Clock()
        self.book = AccessBook(self.database, now=self.clock)
        self.codes_until: dict[str, datetime] = {}
        self.phones_until: dict[str, datetime] = {}
        self.ids: dict[str, str] = {}

    @rule(target=codes)
    def make_code(self) -> object:
        open_now = [c for c, until in self.codes_until.items() if self.clock.at < until]
        code = new_code()
        try:
            self.book.make(
                "code", code, role="helper", name="phone", by="Per", holds_for=FIVE_MINUTES
            )
        except InputError:
            assert len(open_now) >= MOST_OPEN["code"]
            return multiple()
        self.codes_until[code] = self.clock.at + FIVE_MINUTES
        return code

    @rule(target=tokens, code=codes)
    def pair(self, code: str) -> object:
        token = new_token()
        phone = self.book.exchange(code, token, holds_for=A_MONTH)
        good = self.clock.at < self.codes_until.pop(code, START)
        assert (phone is not None) == good
        if phone is None:
            return multiple()
        self.phones_until[token] = self.clock.at + A_MONTH
        self.ids[token] = phone.id
        return token

    @rule(token=tokens)
    def revoke(self, token: str) -> None:
        over_for_long = self.phones_until.get(token, START) + KEPT_AFTER < self.clock.at
        try:
            self.book.end(self.ids[token], "revoked")
        except MissingError:
            # Taken out of the list by the next who came in.
            assert over_for_long
        self.phones_until.pop(token, None)

    @rule(minutes=st.sampled_from([1, 4, 5, 60 * 24 * 29, 60 * 24 * 30]))
    def wait(self, minutes: int) -> None:
        self.clock.at += timedelta(minutes=minutes)

    @rule()
    def end_everything(self) -> None:
        self.book.end_all()
        self.codes_until.clear()
        self.phones_until.clear()

    @invariant()
    def only_those_come_in(self) -> None:
        for token in getattr(self, "ids", {}):
            good = self.clock.at < self.phones_until.get(token, START)
            assert (self.book.holder("phone", token) is not None) == good

    def teardown(self) -> None:
        if hasattr(self, "database"):
            self.database.close()


Doors.TestCase.settings = settings(max_examples=40, stateful_step_count=25, deadline=None)
TestDoors = Doors.TestCase


@pytest.fixture
def file_record(tmp_path: Path) -> Iterator[Database]:
    with open_database(tmp_path / "shop.db") as database:
        yield database


def test_the_file_itself_holds_no_secret(file_record: Database, tmp_path: Path) -> None:
    book = AccessBook(file_record)
    code, token = code_for(book), new_token()
    book.exchange(code, token, holds_for=A_MONTH)
    data = b"".join(path.read_bytes() for path in tmp_path.iterdir())
    assert b"Ida's phone" in data
    assert token.encode() not in data
    assert code.encode() not in data
