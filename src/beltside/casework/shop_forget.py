"""An owner asks to be forgotten: his data go, the record of the work stays."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from beltside.base.errors import BeltsideError
from beltside.casework.forgetting_run import EMPTIED_OF_OWNER, MARK, noted
from beltside.casework.owner_words import OwnerWords
from beltside.casework.shop import Shop, rewrite, sheet_of
from beltside.jobs.database import RecordError
from beltside.jobs.entries import Job
from beltside.jobs.forgetting import bodies_of, files_of, rewrite_jobs, wipe_free_space
from beltside.jobs.removing import remove_jobs
from beltside.jobs.search_words import rebuild
from beltside.jobs.store import StoredFile
from beltside.media import open_recording
from beltside.media.blanking import blanked
from beltside.media.picture import picture_from_bytes
from beltside.media.picture_writing import jpeg_bytes

_MOST_JOBS: Final = 100_000
_QUALITY: Final = 92
_BLANK: Final = (480, 640, 3)
_MOST_TRIES: Final = 40


@dataclass(frozen=True)
class Forgotten:
    """What was done, or would be.

    Attributes
    ----------
    jobs
        Numbers of the jobs whose owner is forgotten.
    others
        Numbers of further jobs of the same telephone, e-mail, plate or vehicle number.
    mentioned
        Numbers of other jobs whose texts hold something of it.
    files
        Stored files written anew without it.
    unclear
        What of the stored files needs a look by yourself; a sentence each.
    deleted
        Whether the jobs themselves were deleted.
    """

    jobs: tuple[int, ...]
    others: tuple[int, ...]
    mentioned: tuple[int, ...]
    files: int
    unclear: tuple[str, ...]
    done: bool
    deleted: bool = False

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "done": self.done,
            "deleted": self.deleted,
            "jobs": list(self.jobs),
            "other_jobs_of_the_same": list(self.others),
            "mentioned_on": list(self.mentioned),
            "files": self.files,
            "unclear": list(self.unclear),
        }


def forget_owner(
    shop: Shop,
    job: str,
    *,
    everywhere: bool = False,
    photos: bool = False,
    delete: bool = False,
    really: bool = False,
) -> Forgotten:
    """Take an owner's data out of a job: every version, search, results, files. It can't be undone.

    Name, telephone, e-mail, address, plate, vehicle number, signature and the names of files go,
    and wherever they stand in other words of the job. Photos are written anew without the phone's
    notes (place, time, device), recordings without such texts in theirs. What was found, done,
    measured and charged stays.

    Parameters
    ----------
    everywhere
        Also on the other jobs of the same telephone, e-mail, plate or vehicle number.
    photos
        Put a blank picture in place of every photo: a plate may be seen on it.
    delete
        Delete the jobs whole instead.
    really
        Do it; without, only say what would be done.
    """
    first = sheet_of(shop, job).job
    same = _same_owner(shop, first)
    jobs = [first, *(same if everywhere else ())]
    ids = [one.id for one in jobs]
    words = _words_of(bodies_of(shop.record.database, ids))
    mentioned = _mentioned(shop, words, {first.id, *(one.id for one in same)})
    others = () if everywhere else tuple(sorted(one.number for one in same))
    numbers = tuple(sorted(one.number for one in jobs))
    if not really:
        files = len(files_of(shop.record.database, ids))
        return Forgotten(numbers, others, mentioned, files, (), done=False)
    named = Forgotten(numbers, others, mentioned, 0, (), done=True, deleted=delete)
    with noted(shop.folder) as note:
        unclear: list[str] = []
        old = set(files_of(shop.record.database, ids))
        note(ids, old)
        if delete:
            free = remove_jobs(shop.record.database, ids)
            rebuild(shop.record.database)
            count = 0
        else:
            replaced, unclear = _new_files(shop, ids, words, photos)
            count = len(replaced)
            note(ids, old | {stored.sha256 for stored, _ in replaced.values()})
            free = _rewrite(shop, ids, words, replaced)
        for sha256 in free:
            shop.files.remove(sha256)
        for one in jobs if not delete else ():
            _say_so(shop, one)
        unclear += _wiped(shop)
    return replace(named, files=count, unclear=tuple(unclear))


def _rewrite(
    shop: Shop,
    ids: Sequence[str],
    words: OwnerWords,
    replaced: Mapping[str, tuple[StoredFile, str]],
) -> list[str]:
    """Write over what stands on the jobs; the stored files that nothing needs any more."""
    names = {old: stored.sha256 for old, (stored, _) in replaced.items()}

    def new_body(kind: str, body: dict[str, Any]) -> dict[str, Any]:
        return _new_body(kind, body, words, names)

    return rewrite_jobs(
        shop.record, ids, new_body, lambda value: words.cleaned(value, names), replaced
    )


def _wiped(shop: Shop) -> list[str]:
    """Rebuild the database; where that fails, say what is left. The data are out all the same."""
    try:
        wipe_free_space(shop.record.database)
    except RecordError as error:
        return [
            "The data are out of the record, but its file could not be rebuilt and may still hold "
            f"what was deleted: {error.given}. Make room on the disk, then forget the owner again."
        ]
    return []


def is_forgotten(shop: Shop, job_id: str) -> bool:
    """Whether the owner of a job asked to be forgotten."""
    owner = sheet_of(shop, job_id).newest("owner")
    return owner is not None and bool(owner.body.get(MARK))


def _say_so(shop: Shop, job: Job) -> None:
    owner = sheet_of(shop, job.id).newest("owner")
    if owner is not None:
        rewrite(shop, owner.id, {MARK: True})
        return
    shop.record.add(job.id, "owner", {MARK: True}, by=shop.by)


def _words_of(bodies: Sequence[tuple[str, Mapping[str, Any]]]) -> OwnerWords:
    """Everything that was ever written into the fields for it."""
    words = OwnerWords()
    for kind, body in bodies:
        if kind == "owner":
            words.names(_texts(body, "name"))
            words.numbers(_texts(body, "phone"))
            words.texts(_texts(body, "email", "address"))
        elif kind == "car":
            words.codes(_texts(body, "plate", "vin"))
        elif kind == "approval":
            words.names(_texts(body, "name"))
    return words


def _texts(body: Mapping[str, Any], *names: str) -> list[str]:
    return [body[name] for name in names if isinstance(body.get(name), str) and body[name].strip()]


_EMPTIED: Final[Mapping[str, tuple[str, ...]]] = {
    "owner": EMPTIED_OF_OWNER,
    "car": ("plate", "vin"),
    "approval": ("name", "signature"),
    "take": ("name",),
    "photo": ("name",),
}
"""Fields that are emptied whatever stands in them; a phone names files by place, time or person."""


def _new_body(
    kind: str, body: Mapping[str, Any], words: OwnerWords, names: Mapping[str, str]
) -> dict[str, Any]:
    new = {name: words.cleaned(value, names) for name, value in body.items()}
    for name in _EMPTIED.get(kind, ()):
        if name in new:
            new[name] = ""
    if kind == "approval" and isinstance(new.get("agreement"), dict):
        new["agreement"] = {
            name: "" if name == "name" else value for name, value in new["agreement"].items()
        }
    if kind == "proof" and isinstance(new.get("sheet"), dict):
        new["sheet"] = {**new["sheet"], "owner": ""}
    return new


def _same_owner(shop: Shop, first: Job) -> list[Job]:
    marks = _marks(shop, first.id)
    return [
        job
        for job in shop.record.jobs(limit=_MOST_JOBS)
        if job.id != first.id and marks & _marks(shop, job.id)
    ]


def _marks(shop: Shop, job_id: str) -> set[tuple[str, str]]:
    """What two jobs of one owner have in common; a name alone is no proof."""
    marks = set()
    for kind, body in bodies_of(shop.record.database, [job_id]):
        of_kind = {"owner": ("phone", "email"), "car": ("plate", "vin")}.get(kind, ())
        for name in of_kind:
            for text in _texts(body, name):
                bare = "".join(letter for letter in text.casefold() if letter.isalnum())
                if len(bare) >= 4:
                    marks.add((name, bare[-9:] if name == "phone" else bare))
    return marks


def _mentioned(shop: Shop, words: OwnerWords, known: set[str]) -> tuple[int, ...]:
    found = []
    for job in shop.record.jobs(limit=_MOST_JOBS):
        if job.id not in known and any(
            words.cleaned(body) != body for _, body in bodies_of(shop.record.database, [job.id])
        ):
            found.append(job.number)
    return tuple(sorted(found))


def _new_files(
    shop: Shop, ids: Sequence[str], words: OwnerWords, photos: bool
) -> tuple[dict[str, tuple[StoredFile, str]], list[str]]:
    """Files of these jobs written anew where they hold what is to go."""
    new: dict[str, tuple[StoredFile, str]] = {}
    unclear: list[str] = []
    for sha256, (media_type, _) in files_of(shop.record.database, ids).items():
        try:
            data = shop.files.path(sha256).read_bytes()
        except BeltsideError:
            continue  # it is gone already
        if media_type.startswith("image/"):
            clean, media_type = _new_picture(data, sha256, photos, unclear), "image/jpeg"
        else:
            clean = _new_recording(data, sha256, words, unclear)
        if clean != data:
            new[sha256] = (shop.files.put([clean], most_bytes=len(clean)), media_type)
    return new, unclear


def _new_picture(data: bytes, sha256: str, blank: bool, unclear: list[str]) -> bytes:
    if not blank:
        try:
            return jpeg_bytes(picture_from_bytes(data, sha256[:12]).pixels, quality=_QUALITY)
        except BeltsideError as error:
            unclear.append(f"The photo {sha256[:12]} can't be read and was taken out: {error}")
    return jpeg_bytes(np.full(_BLANK, 200, np.uint8))


def _new_recording(data: bytes, sha256: str, words: OwnerWords, unclear: list[str]) -> bytes:
    """The same sound, its notes blanked. Letters that belong to the sound are there by chance."""
    spans = words.in_bytes(data)
    clean = blanked(data, spans)
    if clean == data:
        return data
    sound = _sound(data)
    if sound is None:
        # It can't be heard anyway: only its notes could be of use to anybody.
        return clean
    if _same(sound, clean):
        return clean
    if len(spans) > _MOST_TRIES:
        unclear.append(f"Look at the notes of the recording {sha256[:12]} yourself, and remove it.")
        return data
    kept = [one for one in spans if _same(sound, blanked(data, [one], places=False))]
    for places in (True, False):
        clean = blanked(data, kept, places=places)
        if _same(sound, clean):
            return clean
    return data


def _sound(data: bytes) -> Any:
    with tempfile.NamedTemporaryFile() as file:
        file.write(data)
        file.flush()
        try:
            with open_recording(file.name) as recording:
                return recording.whole()
        except BeltsideError:
            return None


def _same(sound: Any, data: bytes) -> bool:
    other = _sound(data)
    return other is not None and np.array_equal(sound, other)
