"""An owner is forgotten: no byte of his data is left in the database or the stored files.

Truth is a plain search through all bytes on the disk, in every way the texts may be coded.
"""

from __future__ import annotations

import io
import json
import wave
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest
import sqlalchemy as sa
from PIL import Image
from proof_jobs import full_job

from beltside.base.errors import InputError
from beltside.casework.owner_words import OwnerWords
from beltside.casework.proof_sheet import code_of
from beltside.casework.shop import Shop, keep, open_shop, rewrite, sheet_of, write
from beltside.casework.shop_care import look_through
from beltside.casework.shop_forget import forget_owner, is_forgotten
from beltside.casework.shop_jobs import history
from beltside.casework.shop_proof import hand_out, proof_of
from beltside.casework.shop_proof_check import check_code, check_sheet
from beltside.cli.main import main
from beltside.jobs.database import Database, RecordError
from beltside.jobs.queue import Queue
from beltside.jobs.schema import ACCESS
from beltside.jobs.search import Search
from beltside.media import read_recording
from beltside.media.blanking import _sum_pages_anew, blanked

NAME, PHONE, PLATE, VIN = "Jördis Quennel", "+46 70-839 51 62", "QXR 907", "XZB1TARN5K7Q04862"
EMAIL, STREET = "jq@beltside.example", "Harskrogen 11"
SECRETS = (
    *("Quennel", "Jördis", "Jordis", "J\u00f6rdis".encode().decode("latin-1")),
    *("839 51 62", "8395162", "QXR 907", "QXR907", "qxr-907", VIN, VIN[-6:], EMAIL, "Harskrogen"),
)


def tone(rate: int = 16000) -> np.ndarray:
    t = np.arange(3 * rate) / rate
    return (0.3 * np.sin(2 * np.pi * 220 * t) * 32767).astype(np.int16)


def recording(kind: str, title: str) -> bytes:
    """A short tone with a title and a place in its notes, by PyAV."""
    out = io.BytesIO()
    codec = {"mp4": "aac", "ogg": "libopus", "flac": "flac", "mp3": "mp3", "wav": "pcm_s16le"}[kind]
    rate = 48000 if kind == "ogg" else 16000
    with av.open(out, "w", format=kind) as container:
        container.metadata["title"] = title
        container.metadata["comment"] = title
        container.metadata["location"] = "+59.3293+018.0686/"
        stream = container.add_stream(codec, rate=rate, layout="mono")
        frame = av.AudioFrame.from_ndarray(tone(rate)[None, :], format="s16", layout="mono")
        frame.sample_rate = rate
        resampler = av.AudioResampler(stream.format, "mono", rate, frame_size=stream.frame_size)
        for part in [*resampler.resample(frame), *resampler.resample(None)]:
            container.mux(stream.encode(part))
        container.mux(stream.encode(None))
    return out.getvalue()


def photo() -> bytes:
    """With the place it was taken at and the owner's name in its notes (EXIF 2.32)."""
    rng = np.random.default_rng(3)
    image = Image.fromarray(rng.integers(0, 255, (90, 120, 3), dtype=np.uint8))
    exif = image.getexif()
    exif[0x010E] = f"{NAME}'s car"
    exif[0x013B] = NAME
    place = exif.get_ifd(0x8825)
    place.update({1: "N", 2: (59.0, 19.0, 45.48), 3: "E", 4: (18.0, 4.0, 6.96)})
    out = io.BytesIO()
    image.save(out, "JPEG", exif=exif)
    return out.getvalue()


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with open_shop(tmp_path / "shop", by="M. Okafor") as shop:
        yield shop


def job_of(shop: Shop, recordings: tuple[str, ...] = ("mp4", "ogg", "flac", "mp3", "wav")) -> str:
    """A full job with the owner's data wherever somebody may type them."""
    job = full_job(shop, owner=NAME)
    owner, car = sheet_of(shop, job).newest("owner"), sheet_of(shop, job).newest("car")
    assert owner is not None
    assert car is not None
    rewrite(shop, owner.id, {"phone": "070-8395162", "address": f"{STREET}, 111 22 Nyby"})
    rewrite(shop.as_writer("helper"), owner.id, {"phone": PHONE, "email": EMAIL}, based_on=1)
    rewrite(shop, car.id, {"plate": PLATE, "vin": VIN}, based_on=1)
    rewrite(shop, car.id, {"plate": "qxr-907"})
    write(
        shop, job, "note", {"words": f"{NAME.upper()} rang from 0708395162; jordis is in a hurry"}
    )
    gone = write(shop, job, "note", {"words": f"Bill to Mrs Quennel, {STREET}"})
    shop.record.remove(gone.id, by="helper")
    write(shop, job, "complaint", {"words": f"{VIN[-6:]}: hums when cold, says Quennel"})
    write(shop, job, "reminder", {"words": f"ring {PHONE} about QXR907", "due": "2027-01-01"})
    kept = keep(shop, [photo()], media_type="image/jpeg").sha256
    write(shop, job, "photo", {"file": kept, "name": "quennel.jpg"}, files=[kept])
    for kind in recordings:
        title = f"{NAME} {PLATE}"
        kept = keep(shop, [recording(kind, title)], media_type=f"audio/{kind}").sha256
        write(shop, job, "take", {"file": kept, "name": f"Quennel {kind}"}, files=[kept])
        queue = Queue(shop.record.database)
        asked = queue.ask("listen", 1, kept, {"title": NAME}, job_id=job)
        claimed = queue.claim("w")
        assert claimed is not None
        queue.finish(claimed, {"says": f"{NAME}: 760 rpm"})
        assert asked == claimed.id
    hand_out(shop, job)
    return job


def bytes_left(folder: Path) -> list[tuple[str, str]]:
    """Where any of it stands on the disk, in any case, coded in any way."""
    found = []
    for path in sorted(folder.rglob("*")):
        if not path.is_file():
            continue
        data = path.read_bytes()
        low = data.lower()
        for secret in SECRETS:
            forms = {secret.lower().encode(code) for code in ("utf-8", "utf-16-le", "utf-16-be")}
            forms |= {secret.lower().encode("latin-1", "ignore")}
            forms |= {json.dumps(secret.lower())[1:-1].encode()}
            forms |= {secret.encode(), json.dumps(secret)[1:-1].encode()}
            if any(one in low or one in data for one in forms):
                found.append((path.name, secret))
    return found


def test_the_search_through_bytes_finds(shop: Shop) -> None:
    job_of(shop)
    found = bytes_left(shop.folder)
    assert {"shop.db", "shop.db-wal"} & {name for name, _ in found}
    assert sum(name not in ("shop.db", "shop.db-wal", "shop.db-shm") for name, _ in found) >= 6


def test_no_byte_is_left(shop: Shop) -> None:
    job = job_of(shop)
    before = sheet_of(shop, job)
    sounds = {
        entry.body["name"]: read_recording(shop.files.path(entry.body["file"]))[0]
        for entry in before.of_kind("take")
        if entry.body["name"].startswith("Quennel")
    }
    changes = [(one.entry, one.version, one.by, one.how) for one in history(shop, job)]
    done = forget_owner(shop, job, really=True)
    assert (done.jobs, done.unclear) == ((1,), ())
    assert bytes_left(shop.folder) == []
    # The work is still there: each entry in each version, with its time and its writer.
    after = sheet_of(shop, job)
    now = [(one.entry, one.version, one.by, one.how) for one in history(shop, job)]
    assert [one for one in now if one in changes] == changes
    assert len(now) == len(changes) + 1
    for kind in ("finding", "step-tick", "torque-tick", "hold-reading", "part-used", "outcome"):
        assert [one.body for one in after.of_kind(kind)] == [
            one.body for one in before.of_kind(kind)
        ]
    note = after.of_kind("note")[-1].body["words"]
    assert note == "[removed] rang from [removed]; [removed] is in a hurry"
    assert after.newest("complaint").body["words"] == "[removed]: hums when cold, says [removed]"
    # Every sound is what it was, to the bit.
    takes = after.of_kind("take")[-len(sounds) :]
    for entry, sound in zip(takes, sounds.values(), strict=True):
        assert np.array_equal(read_recording(shop.files.path(entry.body["file"]))[0], sound)
        assert entry.body["name"] == ""
        (work,) = Queue(shop.record.database).of_subjects([entry.body["file"]])
        assert work.result == {"says": "[removed]: 760 rpm"}
    assert is_forgotten(shop, job)
    assert shop.record.job(1).card.owner == ""
    for word in ("quennel", "jordis", "qxr907", "8395162", VIN):
        assert Search(shop.record.database).find(word) == []
    assert Search(shop.record.database).find("hurry")[0].job_id == job
    assert look_through(shop.folder).checked.problems == ()
    proof_of(shop, job, at=after.job.changed_at)


def test_photos_lose_their_notes_or_all(shop: Shop) -> None:
    job = job_of(shop, ())
    forget_owner(shop, job, really=True)
    kept = sheet_of(shop, job).newest("photo")
    with Image.open(shop.files.path(kept.body["file"])) as image:
        assert dict(image.getexif()) == {}
        assert image.size == (120, 90)
        assert set(image.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    forget_owner(shop, job, photos=True, really=True)
    kept = sheet_of(shop, job).newest("photo")
    with Image.open(shop.files.path(kept.body["file"])) as image:
        assert image.convert("L").getextrema()[0] == image.convert("L").getextrema()[1]
    assert look_through(shop.folder).checked.problems == ()


def test_a_sheet_handed_out_can_still_be_checked(shop: Shop) -> None:
    job = job_of(shop, ())
    handed = hand_out(shop, job)
    forget_owner(shop, job, really=True)
    checked = check_sheet(shop, handed.to_json())
    assert checked.genuine
    assert "asked to be forgotten" in checked.says[0]
    assert check_code(shop, code_of(handed)).genuine
    altered = handed.to_json()
    altered["job_number"] = 1
    altered["owner"] = "Somebody Else"
    assert not check_sheet(shop, altered).genuine


def test_other_jobs(shop: Shop) -> None:
    job = job_of(shop, ())
    shop.record.new_job([("owner", {"name": "J. Q.", "phone": "0708395162"})], by="x")
    shop.record.new_job(
        [("owner", {"name": "Ola Berg"}), ("note", {"words": "a friend of Quennel's"})], by="x"
    )
    asked = forget_owner(shop, job)
    assert (asked.done, asked.others, asked.mentioned) == (False, (2,), (3,))
    assert sheet_of(shop, job).newest("owner").body["name"] == NAME
    done = forget_owner(shop, job, everywhere=True, really=True)
    assert (done.jobs, done.others, done.mentioned) == ((1, 2), (), (3,))
    assert sheet_of(shop, "2").newest("owner").body["phone"] == ""
    assert sheet_of(shop, "3").newest("owner").body["name"] == "Ola Berg"


def test_a_file_that_another_job_needs_stays_there(shop: Shop) -> None:
    job = job_of(shop, ())
    other = full_job(shop, owner="Ola Berg")
    kept = sheet_of(shop, job).of_kind("photo")[-1].body["file"]
    write(shop, other, "photo", {"file": kept}, files=[kept])
    forget_owner(shop, job, really=True)
    assert shop.files.path(kept).is_file()
    assert sheet_of(shop, job).of_kind("photo")[-1].body["file"] != kept
    assert look_through(shop.folder).checked.problems == ()


def test_a_link_the_owner_was_given_opens_nothing_any_more(shop: Shop) -> None:
    job = job_of(shop, ())
    with shop.record.database.writing() as connection:
        at = sheet_of(shop, job).job.changed_at
        connection.execute(
            ACCESS.insert().values(
                id="l1",
                kind="link",
                secret_sha256="0" * 64,
                role="owner",
                name=NAME,
                job_id=job,
                made_at=at,
                made_by="x",
                expires_at=at,
            )
        )
    forget_owner(shop, job, really=True)
    assert bytes_left(shop.folder) == []
    with shop.record.database.reading() as connection:
        assert connection.execute(sa.select(ACCESS)).all() == []


def test_deleted_whole(shop: Shop) -> None:
    job = job_of(shop)
    other = full_job(shop, owner="Ola Berg")
    done = forget_owner(shop, job, delete=True, really=True)
    assert done.deleted
    assert bytes_left(shop.folder) == []
    assert [one.id for one in shop.record.jobs()] == [other]
    assert look_through(shop.folder).checked.problems == ()


def test_a_name_that_is_a_word_of_the_trade(shop: Shop) -> None:
    """Mr Belt's belt stays a belt."""
    job = full_job(shop, owner="Hans Belt")
    write(shop, job, "note", {"words": "Hans Belt wants the belt looked at"})
    forget_owner(shop, job, really=True)
    assert sheet_of(shop, job).of_kind("note")[-1].body["words"] == (
        "[removed] wants the belt looked at"
    )
    assert sheet_of(shop, job).of_kind("finding")


def test_the_command(shop: Shop, capsys: pytest.CaptureFixture[str]) -> None:
    job_of(shop, ())
    call = ["job", "--folder", str(shop.folder), "forget", "1"]

    def run(*more: str) -> int:
        with pytest.raises(SystemExit) as ended:
            main([*call, *more])
        return int(ended.value.code or 0)

    assert run() == 0
    said = capsys.readouterr().out
    assert "Nothing was changed" in said
    assert "Backups, exports and sheets made before keep it all the same" in said
    assert run("--json", "--yes") == 0
    assert json.loads(capsys.readouterr().out)["done"]
    assert run("--photos", "--delete") == 2


@pytest.mark.parametrize(
    ("text", "left"),
    [
        ("Jo\u0308rdis QUENNEL", "[removed]"),
        ("Mrs. Quennel-Berg", "Mrs. [removed]-Berg"),
        ("Quennelly stays", "Quennelly stays"),
        ("(0046) 70 8395162", "[removed]"),
        ("call 070/839-51-62 now", "call [removed] now"),
        ("18395162 is a part number", "18395162 is a part number"),
        ("Q.X.R. 907", "[removed]"),
        ("QXR 9071", "QXR 9071"),
    ],
)
def test_ways_to_type_it(text: str, left: str) -> None:
    words = OwnerWords()
    words.names([NAME])
    words.numbers([PHONE])
    words.codes([PLATE])
    assert words.clean(text) == left


def test_ogg_pages_are_summed_as_another_program_does() -> None:
    """Pages that the muxer behind PyAV summed get the same sums again."""
    data = recording("ogg", "Hum")
    start = data.index(b"Hum")
    blank = blanked(data, [(start, start + 3)])
    assert blank[start : start + 3] == b"   "
    assert b"+00.0000+000.0000/" in blank
    there = data[start : start + 3]
    back = bytearray(blanked(data, [(start, start + 3)], places=False))
    assert bytes(back) != data
    back[start : start + 3] = there
    _sum_pages_anew(back)
    assert bytes(back) == data


def test_nothing_known_nothing_removed() -> None:
    words = OwnerWords()
    words.names(["", " "])
    words.numbers(["12"])
    words.codes(["A1"])
    assert words.clean("anything at all 12 A1") == "anything at all 12 A1"
    assert words.in_bytes(b"anything") == []


def test_on_postgresql(server: Any, tmp_path: Path) -> None:
    url = server.give()
    with open_shop(tmp_path / "shop", database=url, by="M. Okafor") as shop:
        job = job_of(shop, ())
        forget_owner(shop, job, really=True)
        with shop.record.database.engine.connect() as connection:
            for name in sa.inspect(connection).get_table_names():
                rows = connection.execute(sa.text(f"SELECT * FROM {name}")).all()
                text = repr(rows).lower()
                assert [one for one in SECRETS if one.lower() in text] == []
    server.take_back(url)


def test_no_such_job(shop: Shop) -> None:
    with pytest.raises(InputError, match="no job"):
        forget_owner(shop, "7", really=True)


def test_a_wave_without_notes_is_left(shop: Shop) -> None:
    job = full_job(shop, owner=NAME)
    out = io.BytesIO()
    with wave.open(out, "wb") as file:
        file.setparams((1, 2, 16000, 0, "NONE", ""))
        file.writeframes(tone().tobytes())
    kept = keep(shop, [out.getvalue()], media_type="audio/wav").sha256
    write(shop, job, "take", {"file": kept}, files=[kept])
    forget_owner(shop, job, really=True)
    assert sheet_of(shop, job).of_kind("take")[-1].body["file"] == kept


def test_no_room_to_rebuild_the_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The data are out; that the file may still hold them is said, and no fault comes through.

    SQLite answers so when the disk is full (sqlite.org, result code 13)."""
    with open_shop(tmp_path / "shop", by="Ida") as shop:
        shop.record.new_job([("owner", {"name": "Åsa Lind"})], by="Ida", job_id="j1")

        def full(_database: Database, *, rebuilt: bool = False) -> None:
            raise RecordError("The disk is full; nothing was changed", instead="room")

        monkeypatch.setattr(Database, "settle", full)
        done = forget_owner(shop, "1", really=True)
        assert done.done
        assert "may still hold what was deleted: The disk is full" in done.unclear[0]
        assert shop.record.job("j1").card.owner == ""


# Switched off in the middle -----------------------------------------------------------------------


@pytest.mark.parametrize("delete", [False, True])
@pytest.mark.parametrize("place", ["rewrite_jobs", "remove_jobs", "_say_so", "wipe_free_space"])
def test_switched_off_in_the_middle(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, place: str, delete: bool
) -> None:
    """As if the program ended there: the next start finishes it, or it never began."""

    class SwitchedOffError(BaseException):
        pass

    def off(*_: Any, **__: Any) -> None:
        raise SwitchedOffError

    with open_shop(tmp_path) as shop:
        job = shop.record.new_job([("owner", {"name": NAME, "phone": PHONE})], by="x").job
        kept = keep(shop, [photo()], media_type="image/jpeg").sha256
        write(shop, job.id, "photo", {"file": kept, "name": f"{NAME}.jpg"}, files=[kept])
        monkeypatch.setattr(f"beltside.casework.shop_forget.{place}", off)
        try:
            forget_owner(shop, "1", delete=delete, really=True)
            ended = True
        except SwitchedOffError:
            ended = False
    monkeypatch.undo()
    begun = place not in ("rewrite_jobs", "remove_jobs")
    with open_shop(tmp_path) as shop:
        assert not (tmp_path / ".forgetting.json").exists()
        if begun or ended:
            data = b"".join(path.read_bytes() for path in tmp_path.rglob("*") if path.is_file())
            for secret in ("Quennel", "8395162"):
                assert secret.encode() not in data
            assert delete or is_forgotten(shop, job.id)
            assert not Search(shop.record.database).find("quennel")
        else:
            assert sheet_of(shop, "1").entries[0].body["name"] == NAME
            assert Search(shop.record.database).find("quennel")
        assert look_through(tmp_path).checked.problems == ()
