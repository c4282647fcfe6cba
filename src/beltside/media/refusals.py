"""Why a recording could not be read, in plain words."""

from __future__ import annotations

from typing import Any, BinaryIO

from beltside.base.errors import LimitError, RecordingError
from beltside.media import file_kind
from beltside.media.child_process import whole_number, word
from beltside.media.header import AS_RECORDED, check_shape
from beltside.media.limits import Limits


def why_not(name: str, content: dict[str, Any], file: BinaryIO, limits: Limits) -> Exception:
    """The error for a child that found no sound to send.

    Parameters
    ----------
    name
        What to call the recording.
    content
        The child's last message.
    file
        The recording.
    limits
        Bounds on it.
    """
    problem = content.get("problem")
    head = file_kind.read_head(file)
    index_missing = head[4:8] == b"ftyp" and not file_kind.has_mp4_index(file)
    kind = file_kind.describe(head)
    facts = content.get("facts")
    if isinstance(facts, dict) and whole_number(facts, "declared_rate_hz", 1 << 40):
        try:
            check_shape(
                name,
                whole_number(facts, "declared_rate_hz", 1 << 40),
                whole_number(facts, "declared_channels", 1 << 20),
                limits,
            )
        except LimitError as error:
            return error
    if problem == "memory":
        return too_much_memory(name, limits)
    if kind is not None:
        return RecordingError(f"{name} is {kind}, not a recording", instead=AS_RECORDED)
    if index_missing:
        return RecordingError(
            f"{name} was never finished: its index, which comes last, is missing, and "
            "without it no sound can be read",
            instead="record again, or send the original file from the phone",
        )
    if problem == "no-audio" and content.get("has_video") is True:
        return RecordingError(
            f"{name} is a video without sound",
            instead="record again with the microphone switched on",
        )
    if problem == "no-decoder":
        return RecordingError(
            f"{name} holds sound in a coding that is not read here",
            allowed="AAC, ALAC, Opus, Vorbis, MP3, FLAC, AMR, PCM",
            instead=AS_RECORDED,
        )
    if problem == "no-samples":
        return RecordingError(
            f"{name} looks like a recording, but no sound in it can be decoded",
            instead="record again, or send the original file from the phone",
        )
    if problem in ("not-opened", "no-audio"):
        return RecordingError(
            f"{name} is not a recording, or too damaged to tell",
            allowed="M4A, MP4, MOV, 3GP, WebM, Ogg, AMR, MP3, FLAC, WAV",
            instead=AS_RECORDED,
        )
    return RecordingError(
        f"{name} could not be read ({word(content, 'detail') or 'no reason given'})",
        instead="record again, or send the original file from the phone",
    )


def too_much_memory(name: str, limits: Limits) -> LimitError:
    """The error for a recording whose decoding ran out of memory."""
    return LimitError(
        f"{name} needs more memory to decode than a recording may",
        allowed=f"{limits.max_memory_bytes >> 20} MiB",
        instead=AS_RECORDED,
    )


def too_long(name: str, what: str, limits: Limits) -> LimitError:
    """The error for a recording that is longer than allowed; `what` is said about it."""
    return LimitError(
        f"{name} {what}",
        allowed=f"{limits.max_duration_s / 60:g} min",
        instead="cut out the minutes that matter",
    )


def broke_off(name: str) -> RecordingError:
    """The error for a decoder that ended before the first sound."""
    return RecordingError(
        f"{name} could not be read: the decoder broke off at its start, so the file is probably "
        "damaged",
        instead=f"send {AS_RECORDED}, or record again",
    )
