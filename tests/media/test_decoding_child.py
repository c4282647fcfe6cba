"""The decoding process: what it imports, how it limits itself, what it may not do."""

from __future__ import annotations

import ast
import io
import json
import os
import signal
import struct
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from beltside.base.errors import LimitError, RecordingError
from beltside.media import child_process, decoding_child
from beltside.media.child_process import ChildBrokenError, DecodingChild, number, parse_json, word
from beltside.media.header import check_header
from beltside.media.limits import Limits
from beltside.media.refusals import why_not

PROGRAM = Path(decoding_child.__file__)


def test_it_imports_only_the_standard_library_and_pyav() -> None:
    imported: set[str] = set()
    for node in ast.walk(ast.parse(PROGRAM.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            imported |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            imported.add(str(node.module).split(".")[0])
    assert imported - {"__future__"} <= sys.stdlib_module_names
    assert '"av"' in PROGRAM.read_text(encoding="utf-8")


def run_limited(program: str, *, memory_bytes: int = 1 << 30, cpu_s: int = 60) -> int:
    """Exit code of a small program after it limited itself as the decoder does."""
    head = (
        "import sys; sys.path.insert(0, sys.argv[1]); import decoding_child\n"
        f"decoding_child.limit_this_process({memory_bytes}, {cpu_s})\n"
    )
    command = [sys.executable, "-I", "-S", "-c", head + program, str(PROGRAM.parent)]
    return subprocess.run(command, stderr=subprocess.DEVNULL, check=False).returncode


def test_it_cannot_take_more_memory_than_allowed() -> None:
    assert run_limited("bytearray(100 << 20)", memory_bytes=300 << 20) == 0
    program = "try: bytearray(400 << 20)\nexcept MemoryError: sys.exit(7)"
    assert run_limited(program, memory_bytes=300 << 20) == 7


def test_it_cannot_compute_longer_than_allowed() -> None:
    assert run_limited("while True: pass", cpu_s=1) == -signal.SIGXCPU


def test_it_cannot_write_files_and_opens_few(tmp_path: Path) -> None:
    target = tmp_path / "written"
    program = (
        f"file = open({str(target)!r}, 'wb', buffering=0)\n"
        "try: file.write(b'x')\nexcept OSError: sys.exit(7)"
    )
    assert run_limited(program) == 7
    assert target.read_bytes() == b""
    program = "try: [open('/dev/null') for _ in range(20)]\nexcept OSError: sys.exit(7)"
    assert run_limited(program) == 7


def test_it_is_given_hardly_any_environment(
    recorded: Callable[[str], Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: dict[str, object] = {}
    start = subprocess.Popen

    def watched(command: list[str], **options: object) -> object:
        seen.update(options, command=command)
        return start(command, **options)  # type: ignore[call-overload]

    monkeypatch.setattr(child_process.subprocess, "Popen", watched)
    monkeypatch.setenv("SECRET_TOKEN", "x")
    with recorded(".wav").open("rb") as file:
        DecodingChild(file.fileno(), 1000, Limits()).close()
    assert set(seen["env"]) <= {"LD_LIBRARY_PATH", "DYLD_LIBRARY_PATH", "SYSTEMROOT"}
    assert "-I" in seen["command"]
    assert seen["stderr"] == subprocess.DEVNULL


def stand_in(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, program: str) -> DecodingChild:
    """A decoding process that is taken over: it runs `program` instead."""
    folder = tmp_path / "taken-over"
    folder.mkdir()
    (folder / "decoding_child.py").write_text("import os, struct, time\n" + program)
    monkeypatch.setattr(child_process, "__file__", str(folder / "child_process.py"))
    with open(os.devnull, "rb") as file:
        return DecodingChild(file.fileno(), 0, Limits(max_stall_s=5.0))


@pytest.mark.parametrize(
    "program",
    [
        "os.write(1, struct.pack('<cI', b'S', 0xFFFFFFFF))\ntime.sleep(60)",
        "os.write(1, struct.pack('<cI', b'H', 1 << 20))\ntime.sleep(60)",
        "os.write(1, b'nonsense' * 1000)\ntime.sleep(60)",
        "os.write(1, struct.pack('<cI', b'H', 500) + b'{')",
        "os.write(2, b'x' * 10_000_000)",
        "os.abort()",
    ],
)
def test_a_process_that_lies_about_sizes_or_ends_is_not_believed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, program: str
) -> None:
    child = stand_in(tmp_path, monkeypatch, program)
    with pytest.raises(ChildBrokenError):
        child.next_message()
    assert child._process.poll() is not None


def test_a_process_that_runs_out_of_time_is_a_limit(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    child = stand_in(tmp_path, monkeypatch, "import signal\nos.kill(os.getpid(), signal.SIGXCPU)")
    with pytest.raises(LimitError, match="processor time"):
        child.next_message()


def test_only_so_much_is_read_ahead(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    program = (
        "block = struct.pack('<cI', b'S', 1 << 20) + bytes(1 << 20)\n"
        "while True:\n"
        "    view = memoryview(block)\n"
        "    while view: view = view[os.write(1, view):]\n"
    )
    child = stand_in(tmp_path, monkeypatch, program)
    for _ in range(40):
        kind, payload = child.next_message()
        assert (kind, len(payload)) == (b"S", 1 << 20)
        assert child._queued_bytes <= child_process._READ_AHEAD_BYTES + (1 << 20)
    child.close()
    assert child._process.poll() is not None
    assert not child._reader.is_alive()


@pytest.mark.parametrize("payload", [b"", b"[1]", b"{", b"[" * 60_000, b"\xff\xfe"])
def test_messages_that_are_no_json_object_are_refused(payload: bytes) -> None:
    with pytest.raises(ChildBrokenError):
        parse_json(payload)


def test_figures_from_the_process_are_checked() -> None:
    content = json.loads('{"a": NaN, "b": 1e999, "c": true, "d": "x", "e": 2.5, "f": "a\\u001bb"}')
    assert [number(content, key) for key in "abcdez"] == [None, None, None, None, 2.5, None]
    assert word(content, "f") == "ab"


def test_samples_must_fill_whole_frames() -> None:
    said = {
        "sample_rate_hz": 48_000,
        "channels": 2,
        "sample_format": "s16",
        "planar": False,
        "codec": "pcm_s16le",
    }
    header = check_header("take", said, Limits())
    assert header.samples(bytearray(struct.pack("<4h", 1, 2, 3, 4))).tolist() == [
        [1 / 32768, 3 / 32768],
        [2 / 32768, 4 / 32768],
    ]
    for payload in (b"", b"\0\0", bytes(6), bytes(5)):
        with pytest.raises(ChildBrokenError):
            header.samples(bytearray(payload))
    with pytest.raises(RecordingError, match="samples of a kind"):
        check_header("take", said | {"sample_format": "s24"}, Limits())


def test_running_out_of_memory_is_a_limit() -> None:
    error = why_not("take.m4a", {"problem": "memory"}, io.BytesIO(b"OggS"), Limits())
    assert isinstance(error, LimitError)
    assert "1024 MiB" in str(error)


def test_a_part_of_a_file_ends_where_it_is_told_to(tmp_path: Path) -> None:
    path = tmp_path / "bytes"
    path.write_bytes(b"0123456789")
    with path.open("rb") as file:
        part = decoding_child._Part(file.fileno(), 6)
        assert part.read() == b"012345"
        assert part.read(4) == b""
        assert part.seek(-2, os.SEEK_END) == 4
        assert part.read(4) == b"45"
        assert part.seek(8) == 8
        assert part.read(1) == b""
