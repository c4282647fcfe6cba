"""Export and import: a round trip that loses nothing, and zips a stranger may have made."""

from __future__ import annotations

import io
import json
import stat
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from proof_jobs import full_job

from beltside.base.errors import BeltsideError, InputError, LimitError
from beltside.casework.shop import Shop, open_shop, rewrite, sheet_of, write
from beltside.casework.shop_jobs import list_jobs
from beltside.casework.shop_proof import hand_out
from beltside.casework.shop_proof_check import check_sheet
from beltside.casework.shop_search import search_jobs
from beltside.casework.shop_transfer import export_jobs, import_jobs, job_to_json
from beltside.jobs.check import verify
from beltside.jobs.transfer import take_out

DATABASES = ("file", "server")


def opened(kind: str, folder: Path, by: str, request: pytest.FixtureRequest) -> Iterator[Shop]:
    """An empty shop, its record in a file or on a PostgreSQL server."""
    if kind == "file":
        with open_shop(folder, by=by) as shop:
            yield shop
        return
    server = request.getfixturevalue("server")
    url = server.give()
    with open_shop(folder, database=url, by=by) as shop:
        yield shop
    server.take_back(url)


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with open_shop(tmp_path / "shop", by="M. Okafor") as shop:
        yield shop


@pytest.fixture
def other(tmp_path: Path) -> Iterator[Shop]:
    with open_shop(tmp_path / "other", by="another") as shop:
        yield shop


@pytest.fixture(params=DATABASES)
def from_any(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Shop]:
    """Where jobs come from: a file, and once more a server."""
    yield from opened(request.param, tmp_path / "shop", "M. Okafor", request)


@pytest.fixture(params=DATABASES)
def to_any(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Shop]:
    """Where they go: with `from_any` every pair of databases."""
    yield from opened(request.param, tmp_path / "other", "another", request)


def busy_job(shop: Shop) -> str:
    """With entries changed by two, removed and brought back."""
    job = full_job(shop)
    complaint = sheet_of(shop, job).newest("complaint")
    assert complaint is not None
    rewrite(shop.as_writer("helper"), complaint.id, {"words": "It grinds."}, based_on=1)
    rewrite(shop, complaint.id, {"words": "It howls."}, based_on=1)
    note = write(shop, job, "note", {"words": "aside"})
    shop.record.remove(note.id, by="helper")
    shop.record.bring_back(note.id, 1, by="helper")
    gone = write(shop, job, "note", {"words": "not this"})
    shop.record.remove(gone.id, by="helper")
    return job


def test_round_trip_is_exact(from_any: Shop, to_any: Shop, tmp_path: Path) -> None:
    shop, other = from_any, to_any
    job = busy_job(shop)
    second = full_job(shop)
    done = export_jobs(shop, tmp_path / "all.zip")
    assert (done.jobs, done.missing) == (2, ())
    found = import_jobs(other, tmp_path / "all.zip")
    assert [(one.how, one.number_there, one.number) for one in found] == [
        ("new", 1, 1),
        ("new", 2, 2),
    ]
    for name in (job, second):
        there, here = take_out(shop.record, name), take_out(other.record, name)
        assert here == there
        assert sheet_of(other, name) == sheet_of(shop, name)
        assert other.record.changes(name) == shop.record.changes(name)
        for sha256 in there.files():
            assert other.files.path(sha256).read_bytes() == shop.files.path(sha256).read_bytes()
            assert other.record.file_kind(sha256) == shop.record.file_kind(sha256)
    export_jobs(other, tmp_path / "again.zip")
    assert (tmp_path / "again.zip").read_bytes() == (tmp_path / "all.zip").read_bytes()


def test_work_goes_on_after_an_import(shop: Shop, to_any: Shop, tmp_path: Path) -> None:
    other = to_any
    for _ in range(3):
        busy_job(shop)
    export_jobs(shop, tmp_path / "one.zip", ["3"])
    import_jobs(other, tmp_path / "one.zip")
    assert other.record.new_job(by="x").job.number == 4
    job = sheet_of(other, "3")
    write(other, job.job.id, "part-used", {"name": "Clamp"})
    entry = sheet_of(other, "3").newest("complaint")
    assert entry is not None
    rewrite(other, entry.id, {"since": "yesterday"})
    assert sheet_of(other, "3").of_kind("part-used")[-1].body["name"] == "Clamp"


def test_a_taken_number_gets_the_next_free_one(shop: Shop, to_any: Shop, tmp_path: Path) -> None:
    other = to_any
    job = busy_job(shop)
    other.record.new_job(by="x")
    export_jobs(shop, tmp_path / "one.zip")
    (found,) = import_jobs(other, tmp_path / "one.zip")
    assert (found.how, found.number_there, found.number) == ("new", 1, 2)
    assert sheet_of(other, job).job.number == 2
    assert sheet_of(other, "1").entries == ()


def test_the_same_zip_twice_changes_nothing(shop: Shop, to_any: Shop, tmp_path: Path) -> None:
    other = to_any
    job = busy_job(shop)
    export_jobs(shop, tmp_path / "one.zip")
    import_jobs(other, tmp_path / "one.zip")
    write(other, job, "note", {"words": "written here since"})
    before = take_out(other.record, job)
    (found,) = import_jobs(other, tmp_path / "one.zip")
    assert found.how == "was there"
    assert take_out(other.record, job) == before
    assert len(other.record.jobs()) == 1


def test_other_content_is_kept_beside(shop: Shop, to_any: Shop, tmp_path: Path) -> None:
    other = to_any
    job = busy_job(shop)
    export_jobs(shop, tmp_path / "one.zip")
    import_jobs(other, tmp_path / "one.zip")
    entry = sheet_of(shop, job).newest("complaint")
    assert entry is not None
    rewrite(shop, entry.id, {"words": "something else"})
    mine = sheet_of(other, job).newest("complaint")
    assert mine is not None
    rewrite(other, mine.id, {"words": "mine"})
    before = take_out(other.record, job)
    export_jobs(shop, tmp_path / "two.zip")
    (found,) = import_jobs(other, tmp_path / "two.zip")
    assert (found.how, found.number) == ("beside", 2)
    assert "kept beside" in found.says()
    assert take_out(other.record, job) == before
    beside = sheet_of(other, "2")
    complaint = beside.newest("complaint")
    assert complaint is not None
    assert complaint.body["words"] == "something else"
    # What one entry says of another still leads there.
    test = beside.newest("hold-test")
    assert test is not None
    assert {one.body["test"] for one in beside.of_kind("hold-reading")} == {test.id}
    comparison = beside.newest("comparison")
    assert comparison is not None
    assert {comparison.body["before"], comparison.body["after"]} <= {
        one.id for one in beside.of_kind("take")
    }
    (again,) = import_jobs(other, tmp_path / "two.zip")
    assert again.how == "was there"
    assert len(other.record.jobs()) == 2


def test_there_and_back_again_between_file_and_server(
    from_any: Shop, to_any: Shop, tmp_path: Path
) -> None:
    """A second zip, written by the other record, is the first one byte for byte; search, lists and
    the check through the record are the same on both sides."""
    busy_job(from_any)
    export_jobs(from_any, tmp_path / "there.zip")
    import_jobs(to_any, tmp_path / "there.zip")
    export_jobs(to_any, tmp_path / "back.zip")
    assert (tmp_path / "back.zip").read_bytes() == (tmp_path / "there.zip").read_bytes()
    (found,) = import_jobs(from_any, tmp_path / "back.zip")
    assert found.how == "was there"
    for words in ("Anneke", "TX41KL", "howls"):
        both = [[line.to_json() for line in search_jobs(one, words)] for one in (from_any, to_any)]
        assert both[0] == both[1] != []
    assert [one.to_json() for one in list_jobs(from_any, which="all")] == [
        one.to_json() for one in list_jobs(to_any, which="all")
    ]
    assert verify(to_any.record.database, to_any.files).problems == ()


def test_a_zip_half_put_in_leaves_nothing(from_any: Shop, to_any: Shop, tmp_path: Path) -> None:
    """The last job is damaged: none of its entries is there, and the next import is whole."""
    busy_job(from_any)
    export_jobs(from_any, tmp_path / "good.zip")
    with zipfile.ZipFile(tmp_path / "good.zip") as good:
        parts = {one: good.read(one) for one in good.namelist()}
    name = next(one for one in parts if one.startswith("jobs/"))
    bad = json.loads(parts[name])
    bad["entries"][-1]["versions"][0]["version"] = 7
    path = zipped(tmp_path / "bad.zip", {**parts, name: json.dumps(bad).encode()})
    with pytest.raises(InputError, match="count up"):
        import_jobs(to_any, path)
    assert to_any.record.jobs() == []
    assert search_jobs(to_any, "Anneke") == []
    (found,) = import_jobs(to_any, tmp_path / "good.zip")
    assert (found.how, found.number) == ("new", 1)


def test_a_proof_sheet_holds_after_the_move(shop: Shop, other: Shop, tmp_path: Path) -> None:
    sheet = hand_out(shop, full_job(shop))
    export_jobs(shop, tmp_path / "one.zip")
    import_jobs(other, tmp_path / "one.zip")
    assert check_sheet(other, sheet.to_json()).genuine


def test_a_gone_file_is_told_and_the_rest_goes_along(
    shop: Shop, other: Shop, tmp_path: Path
) -> None:
    job = full_job(shop)
    gone = sheet_of(shop, job).of_kind("take")[0].body["file"]
    shop.files.remove(gone)
    assert export_jobs(shop, tmp_path / "one.zip").missing == (gone,)
    import_jobs(other, tmp_path / "one.zip")
    assert sheet_of(other, job).of_kind("take")[0].body["file"] == gone


def test_nothing_to_export_and_no_writing_over(shop: Shop, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no job to export"):
        export_jobs(shop, tmp_path / "x.zip")
    full_job(shop)
    with pytest.raises(InputError, match="no job 7"):
        export_jobs(shop, tmp_path / "x.zip", ["7"])
    assert not list(tmp_path.glob("x.zip*"))
    (tmp_path / "x.zip").write_bytes(b"mine")
    with pytest.raises(InputError, match="there already"):
        export_jobs(shop, tmp_path / "x.zip")
    assert (tmp_path / "x.zip").read_bytes() == b"mine"


# What a stranger may send -------------------------------------------------------------------------


@pytest.fixture
def parts(shop: Shop, tmp_path: Path) -> dict[str, bytes]:
    full_job(shop)
    export_jobs(shop, tmp_path / "good.zip")
    with zipfile.ZipFile(tmp_path / "good.zip") as zipped:
        return {name: zipped.read(name) for name in zipped.namelist()}


def zipped(path: Path, parts: dict[str, bytes], **extra: Any) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as out:
        for name, data in parts.items():
            out.writestr(name, data)
        for info, data in extra.get("infos", ()):
            out.writestr(info, data)
    return path


def refused(other: Shop, path: Path, match: str, kind: type[BeltsideError] = InputError) -> None:
    with pytest.raises(kind, match=match):
        import_jobs(other, path)
    assert other.record.jobs() == []
    assert list(other.files.names()) == []


@pytest.mark.parametrize(
    "name", ["../../evil.txt", "/etc/evil", "files/../../x", "C:\\evil", "files/x", "jobs/a/b.json"]
)
def test_names_that_lead_elsewhere_are_refused(
    other: Shop, tmp_path: Path, parts: dict[str, bytes], name: str
) -> None:
    path = zipped(tmp_path / "bad.zip", {**parts, name: b"evil"})
    refused(other, path, "does not name")
    assert not (tmp_path / "evil.txt").exists()


def test_a_link_is_refused(other: Shop, tmp_path: Path, parts: dict[str, bytes]) -> None:
    info = zipfile.ZipInfo("files/link")
    info.external_attr = (stat.S_IFLNK | 0o777) << 16
    refused(other, zipped(tmp_path / "bad.zip", parts, infos=[(info, b"/etc/passwd")]), "link")


def test_a_bomb_is_refused(other: Shop, tmp_path: Path, parts: dict[str, bytes]) -> None:
    path = zipped(tmp_path / "bad.zip", {**parts, "export.json": b" " * 300_000_000})
    refused(other, path, "would become", LimitError)


def test_a_double_is_refused(other: Shop, tmp_path: Path, parts: dict[str, bytes]) -> None:
    path = tmp_path / "bad.zip"
    with pytest.warns(UserWarning, match="Duplicate name"):
        zipped(path, parts, infos=[(zipfile.ZipInfo("export.json"), b"{}")])
    refused(other, path, "twice")


def changed(data: bytes, **values: Any) -> bytes:
    return json.dumps({**json.loads(data), **values}).encode()


def test_damage_of_every_kind_is_refused(
    other: Shop, tmp_path: Path, parts: dict[str, bytes]
) -> None:
    job_name = next(name for name in parts if name.startswith("jobs/"))
    file_name = next(name for name in parts if name.startswith("files/"))
    job = json.loads(parts[job_name])
    twice = {**job, "entries": job["entries"] + [job["entries"][0]]}
    gap = json.loads(parts[job_name])
    gap["entries"][0]["versions"][0]["version"] = 2
    unknown = json.loads(parts[job_name])
    unknown["entries"][0]["kind"] = "spell"
    odd = json.loads(parts[job_name])
    next(one for one in odd["entries"] if one["kind"] == "take")["versions"][0]["body"] = {}
    naive = json.loads(parts[job_name])
    naive["created_at"] = "2026-11-25T10:00:00"
    bads: list[tuple[dict[str, bytes], str]] = [
        ({**parts, file_name: b"x" * len(parts[file_name])}, "hash"),
        ({**parts, file_name: parts[file_name] + b"x"}, "length"),
        ({name: data for name, data in parts.items() if name != file_name}, "lacks"),
        ({**parts, job_name: changed(parts[job_name], id="other")}, "holds the job"),
        ({**parts, job_name: changed(parts[job_name], number=0)}, "number"),
        ({**parts, job_name: changed(parts[job_name], format="beltside export 9")}, "format"),
        ({**parts, job_name: changed(parts[job_name], more=1)}, "more"),
        ({**parts, job_name: json.dumps(twice).encode()}, "one name"),
        ({**parts, job_name: json.dumps(gap).encode()}, "count up"),
        ({**parts, job_name: json.dumps(unknown).encode()}, "spell"),
        ({**parts, job_name: json.dumps(odd).encode()}, "take"),
        ({**parts, job_name: json.dumps(naive).encode()}, "created_at"),
        ({**parts, job_name: b"{" * 100_000}, "can't be read"),
        ({**parts, job_name: b'{"number": NaN}'}, "no number"),
        ({"export.json": b"[]"}, "export.json"),
        ({"a": b""}, "no export.json"),
    ]
    for number, (bad, match) in enumerate(bads):
        path = zipped(tmp_path / f"bad{number}.zip", bad)
        with pytest.raises(BeltsideError, match=match):
            import_jobs(other, path)
        assert other.record.jobs() == []


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.data())
def test_bytes_turned_over_never_make_another_job(
    other: Shop, tmp_path: Path, parts: dict[str, bytes], data: st.DataObject
) -> None:
    """Whatever is flipped in the zip: it is refused in plain words, or the job is the one sent."""
    good = io.BytesIO((tmp_path / "good.zip").read_bytes())
    raw = bytearray(good.getvalue())
    flips = st.lists(st.tuples(st.floats(0, 1, exclude_max=True), st.integers(1, 255)), min_size=1)
    for share, bits in data.draw(flips):
        raw[int(share * len(raw))] ^= bits
    path = tmp_path / "flipped.zip"
    path.write_bytes(raw)
    try:
        (found,) = import_jobs(other, path)
    except BeltsideError:
        return
    name = next(one for one in parts if one.startswith("jobs/"))
    here = json.loads(json.dumps(job_to_json(take_out(other.record, found.id))))
    assert here == json.loads(parts[name])


@pytest.mark.parametrize("data", [b"", b"PK", b"PK\x03\x04" + b"\0" * 50, b"no zip at all"])
def test_what_is_no_zip_is_refused(other: Shop, tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "x.zip"
    path.write_bytes(data)
    refused(other, path, "no zip")
