"""The rooms keep to their walls: who may import whom, and what a pure room may not touch.

The rules and the reasons for them: docs/decisions/0001-rooms-and-import-rules.md. They are read
off the source (every import, also those inside functions and for type checkers), and once more
from what a fresh process has loaded.
"""

from __future__ import annotations

import ast
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
SOURCE = ROOT / "src" / "beltside"

PURE_ROOMS = {"base", "vehicle", "sound", "drive", "suspects", "coolant", "bolting", "teardown"}

# What each room may import of Beltside besides itself. A new room has to be entered here.
ROOMS_OF = {
    "base": set(),
    **{room: {"base"} for room in PURE_ROOMS - {"base"}},
    "photo": {"base"},
    "media": {"base"},
    "rig": {"base", "drive", "media"},
    "jobs": {"base"},
    "casework": PURE_ROOMS | {"photo", "media", "jobs"},
    "proof": {"base", "casework"},
    "cli": {"base", "casework", "proof", "web"},
    "web": {"base", "casework", "proof"},
}
# One module may do what its room may not.
ROOMS_OF_MODULE = {"casework.demo": {"rig"}, "casework.demo_shop": {"rig"}}

# What a pure room may use of the standard library: nothing that reads a file, a clock, the
# network, the system or chance.
PURE_STANDARD = {
    "__future__",
    "abc",
    "bisect",
    "collections",
    "collections.abc",
    "dataclasses",
    "decimal",
    "difflib",
    "enum",
    "fractions",
    "functools",
    "heapq",
    "itertools",
    "math",
    "numbers",
    "operator",
    "re",
    "statistics",
    "string",
    "types",
    "typing",
    "unicodedata",
}
PURE_LIBRARIES = {
    "base": {"numpy"},
    "sound": {"numpy", "scipy", "soxr"},
    "coolant": {"numpy", "scipy", "scp"},
    "teardown": {"numpy", "scipy", "highspy"},
}
PURE_LIBRARIES_ELSE = {"numpy", "scipy"}

# Libraries with a home: only these rooms, or modules, may import them.
HOME_OF = {
    # A phone of the rig codes its sound in memory, as a phone does; it reads no recording.
    "av": {"media", "rig.phone"},
    "altair": {"proof"},
    "vl_convert": {"proof"},
    "PIL": {"proof", "photo", "media"},
    "cv2": {"photo", "media", "rig"},
    "scp": {"coolant"},
    "highspy": {"teardown"},
    "typer": {"cli"},
    "rich": {"cli"},
    "pydantic": {"casework", "web"},
    "soxr": {"sound", "media", "rig"},
    "scipy": PURE_ROOMS - {"base"} | {"rig", "photo"},
    "subprocess": {"media"},
    "socket": {"web", "cli"},
    "sqlite3": {"jobs"},
    "sqlalchemy": {"jobs"},
    "alembic": {"jobs"},
    "psycopg": {"jobs"},
    "pyrage": {"jobs"},
    "fastapi": {"web"},
    "starlette": {"web"},
    "uvicorn": {"web"},
    "jinja2": {"web", "proof"},
    "cryptography": {"web", "jobs.backup_key"},
    "psutil": {"web"},
    "manimgx_fonts": {"proof"},
    "pypdf": {"proof"},
    "segno": {"proof"},
    "typst": {"proof"},
}

FORBIDDEN_CALLS = {"open", "print", "input", "exec", "eval", "compile", "__import__"}
# Of numpy and scipy: what reads or writes files, or draws from a hidden state.
FORBIDDEN_ATTRIBUTES = {
    "default_rng",
    "fromfile",
    "genfromtxt",
    "loadtxt",
    "memmap",
    "savetxt",
    "tofile",
    "read_text",
    "read_bytes",
    "write_text",
    "write_bytes",
}
FORBIDDEN_OF_NUMPY = {"load", "save", "savez", "savez_compressed", "seterr"}
OF_RANDOM = {"Generator", "BitGenerator", "SeedSequence"}

MOST_LINES = 500


def modules_of(folder: Path) -> dict[str, Path]:
    """Modules by their name within the folder: `sound.crank`."""
    found = {}
    for path in sorted(folder.rglob("*.py")):
        parts = path.relative_to(folder).with_suffix("").parts
        found[".".join(parts[:-1] if parts[-1] == "__init__" and parts[1:] else parts)] = path
    return found


MODULES = modules_of(SOURCE)
IN_ROOMS = {name: path for name, path in MODULES.items() if path.parent != SOURCE}
ROOMS = sorted({name.partition(".")[0] for name in IN_ROOMS})


def imports(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Line and full name of everything imported: `from a import b` is `a.b`."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            module = "." * node.level + (node.module or "")
            yield from ((node.lineno, f"{module}.{alias.name}") for alias in node.names)


def wrong_rooms(name: str, tree: ast.AST) -> list[str]:
    """Imports of rooms that the module `name` may not enter, and relative ones."""
    room = name.partition(".")[0]
    allowed = ROOMS_OF[room] | {room, "__version__"} | ROOMS_OF_MODULE.get(name, set())
    wrong = []
    for line, full in imports(tree):
        if full.startswith("."):
            wrong.append(f"line {line}: {full} is relative")
        parts = full.split(".")
        if parts[0] == "beltside" and (len(parts) < 2 or parts[1] not in allowed):
            wrong.append(f"line {line}: {full}")
    return wrong


def wrong_homes(name: str, tree: ast.AST) -> list[str]:
    """Imports of libraries that live in another room."""
    room = name.partition(".")[0]
    return [
        f"line {line}: {full}"
        for line, full in imports(tree)
        if full.split(".")[0] in HOME_OF and not HOME_OF[full.split(".")[0]] & {room, name}
    ]


def impure(name: str, tree: ast.AST) -> list[str]:
    """What a pure room may not do: files, clock, chance, printing, other libraries."""
    libraries = PURE_LIBRARIES.get(name.partition(".")[0], PURE_LIBRARIES_ELSE)
    wrong = []
    for line, full in imports(tree):
        top, owner = full.split(".")[0], full.rpartition(".")[0]
        known = {full, owner} & PURE_STANDARD or top in libraries | {"beltside"}
        hidden = owner == "numpy.random" and full.rpartition(".")[2] not in OF_RANDOM
        if not known or hidden or full.startswith(("scipy.io", "scipy.datasets")):
            wrong.append(f"line {line}: import {full}")
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            if node.func.id in FORBIDDEN_CALLS:
                wrong.append(f"line {node.lineno}: {node.func.id}()")
        elif isinstance(node, ast.Attribute):
            owner = ast.unparse(node.value)
            if (
                node.attr in FORBIDDEN_ATTRIBUTES
                or (owner == "np" and node.attr in FORBIDDEN_OF_NUMPY)
                or (owner == "np.random" and node.attr not in OF_RANDOM)
            ):
                wrong.append(f"line {node.lineno}: {owner}.{node.attr}")
    return wrong


def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"), filename=str(path))


def test_every_room_has_its_rules() -> None:
    assert set(ROOMS) <= set(ROOMS_OF)
    assert {"base", "sound", "drive", "suspects", "media", "casework"} <= set(ROOMS)


def test_nothing_stands_outside_the_rooms() -> None:
    assert {path.name for path in SOURCE.glob("*.py")} == {"__init__.py", "__main__.py"}


@pytest.mark.parametrize("name", IN_ROOMS)
def test_imports_stay_within_the_walls(name: str) -> None:
    tree = tree_of(IN_ROOMS[name])
    assert wrong_rooms(name, tree) + wrong_homes(name, tree) == []


@pytest.mark.parametrize("name", [n for n in IN_ROOMS if n.partition(".")[0] in PURE_ROOMS])
def test_pure_rooms_only_compute(name: str) -> None:
    assert impure(name, tree_of(IN_ROOMS[name])) == []


@pytest.mark.parametrize(
    "line",
    [
        "import os",
        "import os.path",
        "from pathlib import Path",
        "import io",
        "import time",
        "from datetime import datetime",
        "import random",
        "from numpy.random import default_rng",
        "import sqlite3",
        "from importlib.resources import files",
        "import logging",
        "from scipy.io import wavfile",
        "import altair",
        "def f():\n    import socket",
        "print('x')",
        "open('x')",
        "np.random.normal()",
        "np.random.default_rng(1)",
        "np.load('x')",
        "values.tofile('x')",
        "path.read_text()",
    ],
)
def test_the_rule_of_purity_catches(line: str) -> None:
    assert impure("drive.ratios", ast.parse(line)) != []


@pytest.mark.parametrize(
    "line",
    [
        "import numpy.typing as npt",
        "from numpy.random import Generator",
        "from collections.abc import Sequence",
        "import scipy.fft",
        "def f(rng: np.random.Generator): return rng.normal()",
        "a.load",
    ],
)
def test_the_rule_of_purity_lets_pass(line: str) -> None:
    assert impure("drive.ratios", ast.parse(line)) == []


@pytest.mark.parametrize(
    ("name", "line"),
    [
        ("sound.crank", "from beltside.drive.sheet import DriveSheet"),
        ("sound.crank", "from beltside import media"),
        ("sound.crank", "from . import orders"),
        ("sound.crank", "import beltside"),
        ("base.units", "from beltside.sound.track import CrankTrack"),
        ("casework.find", "from beltside.rig import demo_case"),
        ("casework.find", "from beltside.proof.charts import save_pictures"),
        ("media.recording", "from beltside.sound.gate import require_signal"),
        ("cli.main", "from beltside.sound.crank import find_crank"),
        ("proof.charts", "def f():\n    from beltside.suspects import catalogue"),
        ("rig.takes", "from beltside.sound.orders import order_spectrum"),
    ],
)
def test_the_rule_of_rooms_catches(name: str, line: str) -> None:
    assert wrong_rooms(name, ast.parse(line)) != []


def test_the_demos_alone_may_use_the_rig() -> None:
    line = ast.parse("from beltside.rig import demo_case")
    assert wrong_rooms("casework.demo", line) == []
    others = [n for n in IN_ROOMS if n.partition(".")[0] != "rig" and n not in ROOMS_OF_MODULE]
    assert [name for name in others if wrong_rooms(name, line) == []] == []


@pytest.mark.parametrize(
    ("name", "line"),
    [
        ("casework.takes", "import av"),
        ("rig.voices", "import av"),
        ("cli.show", "import altair as alt"),
        ("casework.results", "import rich.table"),
        ("base.units", "import scipy.fft"),
        ("casework.listen", "import subprocess"),
    ],
)
def test_the_rule_of_homes_catches(name: str, line: str) -> None:
    assert wrong_homes(name, ast.parse(line)) != []


LOADED = """
import importlib, json, sys
for name in sys.argv[1:]:
    importlib.import_module(name)
print(json.dumps(list(sys.modules)))
"""


@pytest.mark.parametrize("room", [room for room in ROOMS if room in PURE_ROOMS])
def test_a_pure_room_loads_nothing_else(room: str) -> None:
    """What a fresh process has loaded once all of the room is imported."""
    names = [f"beltside.{name}" for name in IN_ROOMS if name.partition(".")[0] == room]
    done = subprocess.run(
        [sys.executable, "-c", LOADED, *names],
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
        env={**os.environ, "PYTHONPATH": str(SOURCE.parent)},
    )
    assert done.returncode == 0, done.stderr
    loaded = json.loads(done.stdout)
    assert set(names) <= set(loaded)
    rooms = {name.split(".")[1] for name in loaded if name.startswith("beltside.")}
    assert rooms <= {room} | ROOMS_OF[room]
    # Numpy and scipy load much of the standard library themselves; of the libraries that have a
    # home in Beltside they load none.
    libraries = {name.partition(".")[0] for name in loaded} & set(HOME_OF)
    allowed = PURE_LIBRARIES.get(room, PURE_LIBRARIES_ELSE)
    assert libraries - set(sys.stdlib_module_names) <= allowed


@pytest.mark.parametrize("folder", ["src", "tests", "bench", "scripts"])
def test_modules_stay_short(folder: str) -> None:
    lengths = {
        str(path.relative_to(ROOT)): len(path.read_text(encoding="utf-8").splitlines())
        for path in (ROOT / folder).rglob("*.py")
    }
    assert lengths
    assert {name: length for name, length in lengths.items() if length > MOST_LINES} == {}


def test_tests_mirror_the_rooms() -> None:
    folders = {
        path.name for path in (ROOT / "tests").iterdir() if path.is_dir() and any(path.iterdir())
    } - {"__pycache__"}
    assert folders - set(ROOMS) <= {"published", "bench", "scripts", "browser"}
    bare = [room for room in ROOMS if not any((ROOT / "tests" / room).glob("test_*.py"))]
    assert bare == []
