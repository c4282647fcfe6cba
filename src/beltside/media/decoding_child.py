"""The program that decodes one untrusted recording, run as a process of its own.

It is started by `child_process.py` as
`python -I -S decoding_child.py MEMORY CPU FOLDER-OF-AV READABLE`
with the recording on standard input, and imports nothing but PyAV and the standard library, so
that it starts in a tenth of a second. It limits itself before it reads the first byte, then
writes messages to standard output. Each is one letter, the length of what follows (4 bytes,
little end first) and that many bytes:

- `H`, once: JSON, what the recording is;
- `S`, any number: samples as decoded, channel after channel when `planar`, else interleaved;
- `E`, last: JSON, what went wrong on the way, and why there was no `H` if there was none.

Whoever reads this believes none of it: sizes and figures are checked on the other side.
"""

from __future__ import annotations

import contextlib
import importlib
import io
import json
import os
import struct
import sys
from typing import Any, Final

# What phones, recorders and browsers write. Playlists, network streams, picture sequences and
# everything else that may point at another file are left out on purpose.
CONTAINERS: Final = "mov,mp4,m4a,3gp,3g2,matroska,webm,ogg,wav,w64,aiff,caf,flac,mp3,aac,amr"
CODECS: Final = (
    "aac,aac_latm,alac,opus,libopus,vorbis,libvorbis,flac,mp3float,mp3,mp2float,mp2,amrnb,"
    "libopencore_amrnb,amrwb,libopencore_amrwb,ac3,eac3,adpcm_ima_wav,adpcm_ima_qt,adpcm_ms,"
    "gsm,gsm_ms,pcm_u8,pcm_s8,pcm_s16le,pcm_s16be,pcm_s24le,pcm_s24be,pcm_s32le,pcm_s32be,"
    "pcm_f32le,pcm_f32be,pcm_f64le,pcm_f64be,pcm_alaw,pcm_mulaw"
)
BYTES_PER_SAMPLE: Final = {"u8": 1, "s16": 2, "s32": 4, "s64": 8, "flt": 4, "dbl": 8}

_CHUNK_SAMPLES: Final = 1 << 15
_CHUNK_BYTES: Final = 1 << 20
_READ_BYTES: Final = 1 << 17
_OPEN_FILES: Final = 8
# After so many failed reads in a row the rest is given up.
_FAILED_READS_IN_A_ROW: Final = 64
_REAL_CHANGE_S: Final = 1.0
_EARLY_END: Final = ("ended prematurely", "partial file", "truncat", "packet corrupt")


def limit_this_process(memory_bytes: int, cpu_s: int) -> None:
    """Give up memory, time, core dumps, files to write, most open files and new processes."""
    try:
        import resource
    except ImportError:  # Windows: the parent's own limits still hold
        return
    wanted = (
        (resource.RLIMIT_AS, memory_bytes, memory_bytes),
        (resource.RLIMIT_CPU, cpu_s, cpu_s + 1),
        (resource.RLIMIT_CORE, 0, 0),
        (resource.RLIMIT_FSIZE, 0, 0),
        (resource.RLIMIT_NOFILE, _OPEN_FILES, _OPEN_FILES),
        (resource.RLIMIT_NPROC, 0, 0),
    )
    for which, soft, hard in wanted:
        _, hard_now = resource.getrlimit(which)
        if hard_now != resource.RLIM_INFINITY:
            soft, hard = min(soft, hard_now), min(hard, hard_now)
        # A system that does not know a limit refuses it; the others are still set.
        with contextlib.suppress(ValueError, OSError):
            resource.setrlimit(which, (soft, hard))


def send(kind: bytes, *pieces: bytes | memoryview) -> None:
    """Write one message to standard output."""
    _write(struct.pack("<cI", kind, sum(len(piece) for piece in pieces)))
    for piece in pieces:
        _write(piece)


def _write(data: bytes | memoryview) -> None:
    view = memoryview(data)
    while view:
        view = view[os.write(1, view) :]


def send_json(kind: bytes, content: dict[str, Any]) -> None:
    """Write one JSON message."""
    send(kind, json.dumps(content).encode("utf-8"))


class _Samples:
    """Decoded frames, gathered into messages of about a second."""

    def __init__(self, planes: int) -> None:
        self._planes: list[list[bytes]] = [[] for _ in range(planes)]
        self._count = 0
        self._bytes = 0

    def add(self, frame: Any, plane_bytes: int) -> None:
        for pieces, plane in zip(self._planes, frame.planes, strict=True):
            pieces.append(bytes(memoryview(plane)[:plane_bytes]))
            self._bytes += plane_bytes
        self._count += frame.samples
        if self._count >= _CHUNK_SAMPLES or self._bytes >= _CHUNK_BYTES:
            self.flush()

    def flush(self) -> None:
        if self._count:
            send(b"S", *(piece for pieces in self._planes for piece in pieces))
            for pieces in self._planes:
                pieces.clear()
            self._count = self._bytes = 0


class _Part(io.FileIO):
    """The first bytes of a file; what comes after is not there."""

    def __init__(self, descriptor: int, readable_bytes: int) -> None:
        super().__init__(descriptor, "rb", closefd=False)
        self._end = readable_bytes

    def read(self, size: int | None = -1, /) -> bytes:
        left = max(0, self._end - self.tell())
        return super().read(left if size is None or size < 0 else min(size, left)) or b""

    def seek(self, offset: int, whence: int = os.SEEK_SET, /) -> int:
        if whence == os.SEEK_END:
            return super().seek(self._end + offset)
        return super().seek(offset, whence)


def _refuse_to_open(url: str, flags: int, options: dict[str, str]) -> Any:
    raise PermissionError("a recording may not open other files")


def _seconds(count: int | None, time_base: Any) -> float | None:
    return None if count is None or time_base is None else float(count * time_base)


def _tagged_duration_s(stream: Any) -> float | None:
    # Matroska and WebM keep the length of one stream as a tag "00:01:00.008000000".
    parts = str(stream.metadata.get("DURATION", "")).split(":")
    try:
        hours, minutes, seconds = (float(part) for part in parts)
    except ValueError:
        return None
    return hours * 3600.0 + minutes * 60.0 + seconds


def _stream_duration_s(stream: Any) -> float | None:
    duration_s = _seconds(stream.duration, stream.time_base)
    return duration_s if duration_s is not None else _tagged_duration_s(stream)


def _longest(streams: Any) -> Any:
    # The longest; among equals the one marked as default, then the first.
    def rank(stream: Any) -> tuple[float, bool, int]:
        duration_s = _stream_duration_s(stream) or 0.0
        return (round(duration_s, 1), bool(int(stream.disposition) & 1), -stream.index)

    return max(streams, key=rank)


def _facts(container: Any, stream: Any) -> dict[str, Any]:
    start_s = _seconds(stream.start_time, stream.time_base)
    container_start_s = (container.start_time or 0) / 1e6
    own_duration_s = _stream_duration_s(stream)
    whole_s = None if container.duration is None else container.duration / 1e6
    pictures = [s for s in container.streams if s.type == "video"]
    return {
        "container": container.format.name,
        "codec": stream.codec_context.codec.canonical_name,
        "duration_s": own_duration_s if own_duration_s is not None else whole_s,
        "duration_of_stream": own_duration_s is not None,
        "starts_late_s": 0.0 if start_s is None else start_s - container_start_s,
        "audio_streams": len(container.streams.audio),
        "has_video": any(not int(s.disposition) & 0x400 for s in pictures),  # not cover art
        "declared_rate_hz": stream.codec_context.sample_rate,
        "declared_channels": stream.codec_context.layout.nb_channels,
    }


class _Decoding:
    """One pass over one audio stream; notes what fails and goes on."""

    def __init__(self, av: Any, container: Any, stream: Any, log: list[Any]) -> None:
        self._av = av
        self._container = container
        self._stream = stream
        self._log = log
        self._samples: _Samples | None = None
        self._shape: tuple[str, int, int] = ("", 0, 0)
        self._item_bytes = 0
        self._first_s: float | None = None
        self._end_s = 0.0
        self._read_s = 0.0
        self._other_s = 0.0
        self.notes: dict[str, Any] = {
            "problem": None,
            "packets_failed": 0,
            "seconds_failed": 0.0,
            "ended_early": False,
            "format_changed": False,
            "gap_s": 0.0,
        }

    def run(self) -> None:
        self._stream.codec_context.thread_count = 1
        for other in self._container.streams:
            if other is not self._stream:
                other.discard = self._av.stream.Discard.all
        failed_in_a_row = 0
        packets = self._container.demux(self._stream)
        while True:
            try:
                packet = next(packets)
            except StopIteration:
                break
            except (self._av.FFmpegError, OSError, ValueError) as error:
                if isinstance(error, MemoryError):
                    raise
                failed_in_a_row += 1
                self.notes["packets_failed"] += 1
                if failed_in_a_row >= _FAILED_READS_IN_A_ROW:
                    break
                packets = self._container.demux(self._stream)
                continue
            failed_in_a_row = 0
            if not self._decode(packet):
                break
        if self._samples is not None:
            self._samples.flush()
        self._watch_log()
        if self._first_s is not None:
            self.notes["gap_s"] = self._end_s - self._first_s - self._read_s
        if self._samples is None:
            self.notes["problem"] = "no-samples"

    def _decode(self, packet: Any) -> bool:
        try:
            frames = packet.decode()
        except self._av.DecoderNotFoundError:
            self.notes["problem"] = "no-decoder"
            return False
        except (self._av.FFmpegError, OSError, ValueError) as error:
            if isinstance(error, MemoryError):
                raise
            self.notes["packets_failed"] += 1
            self.notes["seconds_failed"] += _seconds(packet.duration, packet.time_base) or 0.0
            frames = []
        self._watch_log()
        for frame in frames:
            self._take(frame)
        return True

    def _watch_log(self) -> None:
        if self._log:
            text = " ".join(str(line[2]).lower() for line in self._log)
            self._log.clear()
            if any(word in text for word in _EARLY_END):
                self.notes["ended_early"] = True

    def _take(self, frame: Any) -> None:
        if not frame.samples:
            return
        shape = (frame.format.name, frame.layout.nb_channels, frame.sample_rate)
        if self._samples is None:
            self._start(frame, shape)
        elif shape != self._shape:
            # A damaged frame may claim another rate; a second of them is a real change.
            self._other_s += frame.samples / max(1, frame.sample_rate)
            self.notes["packets_failed"] += 1
            self.notes["seconds_failed"] += frame.samples / max(1, frame.sample_rate)
            self.notes["format_changed"] |= self._other_s >= _REAL_CHANGE_S
            return
        self._other_s = 0.0
        assert self._samples is not None
        per_plane = 1 if frame.format.is_planar else frame.layout.nb_channels
        self._samples.add(frame, frame.samples * per_plane * self._item_bytes)
        duration_s = frame.samples / frame.sample_rate
        self._read_s += duration_s
        at_s = _seconds(frame.pts, frame.time_base)
        if at_s is not None:
            if self._first_s is None:
                self._first_s = at_s - (self._read_s - duration_s)
            self._end_s = at_s + duration_s

    def _start(self, frame: Any, shape: tuple[str, int, int]) -> None:
        sample_format = frame.format.packed.name
        self._item_bytes = BYTES_PER_SAMPLE[sample_format]
        self._shape = shape
        planar = bool(frame.format.is_planar)
        self._samples = _Samples(frame.layout.nb_channels if planar else 1)
        facts = _facts(self._container, self._stream)
        facts |= {
            "sample_rate_hz": frame.sample_rate,
            "channels": frame.layout.nb_channels,
            "sample_format": sample_format,
            "planar": planar,
        }
        send_json(b"H", facts)


def decode_standard_input(av: Any, readable_bytes: int) -> dict[str, Any]:
    """Decode the recording on standard input; give back what goes into the last message."""
    source = _Part(0, readable_bytes)
    options = {
        "format_whitelist": CONTAINERS,
        "codec_whitelist": CODECS,
        "protocol_whitelist": "none",
    }
    av.logging.set_level(av.logging.WARNING)
    with av.logging.Capture(local=False) as log:
        try:
            container = av.open(
                source, "r", options=options, buffer_size=_READ_BYTES, io_open=_refuse_to_open
            )
        except (av.FFmpegError, OSError, ValueError) as error:
            if isinstance(error, MemoryError):
                raise
            return {"problem": "not-opened"}
        if not container.streams.audio:
            return {"problem": "no-audio", "has_video": bool(container.streams.video)}
        usable = [s for s in container.streams.audio if s.codec_context is not None]
        if not usable:
            return {"problem": "no-decoder"}
        stream = _longest(usable)
        decoding = _Decoding(av, container, stream, log)
        decoding.run()
        return decoding.notes | {"facts": _facts(container, stream)}


def main(arguments: list[str]) -> int:
    """Limit this process, decode, report."""
    limit_this_process(int(arguments[0]), int(arguments[1]))
    sys.path.append(arguments[2])
    try:
        # By name, so that nothing heavy is imported when this module is only looked at.
        av = importlib.import_module("av")
        importlib.import_module("av.stream")
        end = decode_standard_input(av, int(arguments[3]))
    except BrokenPipeError:
        return 0
    except MemoryError:
        end = {"problem": "memory"}
    except Exception as error:  # noqa: BLE001 - the last message must say what happened
        end = {"problem": "internal", "detail": f"{type(error).__name__}: {error}"[:300]}
    try:
        send_json(b"E", end)
    except BrokenPipeError:
        return 0
    return 0


if __name__ == "__main__":
    # Leave without tidying up: the process is gone in any case, and the reader is waiting.
    os._exit(main(sys.argv[1:]))
