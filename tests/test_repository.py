"""The house itself: what must be in it, and what must not.

Forbidden words are put together from pieces, so that this file does not hold them.
"""

from __future__ import annotations

import ast
import re
import shlex
import sys
import tomllib
from pathlib import Path

import pytest
import typer.main
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

import beltside
from beltside.cli.main import app

ROOT = Path(__file__).parents[1]
FOLDERS = ("src", "tests", "docs", "bench", "scripts", ".ci")
PICTURES = {".png", ".svg"}
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))

_PIECES = {
    "package registry": "py+pi.org python+hosted registry.npm+js debian+.org",
    "path of one machine": "/wor+k/ /far+m/ /ro+ot/ /ho+me/ /opt+/wheels",
    "material that is not here": "bash_+jobs tran+script .lib+rary/ facts+.md",
    "test that does not test": "mark.sk+ip pytest.sk+ip x+fail import+orskip",
    "work put off": "TO+DO FIX+ME NotImplemented+Error",
}
FORBIDDEN = {kind: words.replace("+", "").split() for kind, words in _PIECES.items()}
ADDRESS = re.compile(r"https?://([^/\s\"'`)>]+)")
# Names of formats, not pages to fetch.
FORMAT_HOSTS = {"json-schema.org", "www.w3.org"}
# This machine, and names that RFC 2606 keeps free for examples.
# Addresses of local networks (RFC 1918) stand for some machine there.
PRIVATE_HOST = re.compile(r"(10(\.\d+){3}|192\.168(\.\d+){2})(:.*)?|\{host\}.*")
OWN_HOSTS = {"127.0.0.1", "localhost", "testserver", "evil.example", "beltside.example"}


def files() -> list[Path]:
    """Every file of the project."""
    found = [path for path in ROOT.iterdir() if path.is_file()]
    for folder in FOLDERS:
        found += [path for path in (ROOT / folder).rglob("*") if path.is_file()]
    return sorted(path for path in found if "__pycache__" not in path.parts)


TEXTS = {
    str(path.relative_to(ROOT)): path.read_text(encoding="utf-8", errors="replace")
    for path in files()
    if path.suffix not in PICTURES
}
PAGES = [name for name in TEXTS if name.endswith(".md")]


def pins(name: str) -> dict[str, Requirement]:
    """Requirements of one file by canonical name."""
    lines = [line.partition("#")[0].strip() for line in TEXTS[name].splitlines()]
    return {canonicalize_name(r.name): r for r in map(Requirement, filter(None, lines))}


def forbidden_in(text: str) -> list[str]:
    found = [
        f"{kind}: {word}" for kind, words in FORBIDDEN.items() for word in words if word in text
    ]
    return found + [
        f"address: {host}"
        for host in ADDRESS.findall(text)
        if host.partition(":")[0] not in FORMAT_HOSTS | OWN_HOSTS
        and not PRIVATE_HOST.fullmatch(host)
    ]


def test_the_whole_project_is_looked_at() -> None:
    assert {"Makefile", "README.md", "LICENSE", ".ci/run", "src/beltside/cli/main.py"} <= set(TEXTS)


def test_no_text_holds_what_does_not_belong() -> None:
    found = {name: words for name, text in TEXTS.items() if (words := forbidden_in(text))}
    assert found == {}


@pytest.mark.parametrize("word", [word for words in FORBIDDEN.values() for word in words])
def test_forbidden_words_are_found(word: str) -> None:
    assert forbidden_in(f"see {word} there") != []


def test_addresses_are_found() -> None:
    assert forbidden_in("from https" + "://example.com/x") == ["address: example.com"]


def test_no_recordings_and_nothing_large() -> None:
    kinds = {path.suffix for path in files()}
    assert kinds <= {
        *("", ".md", ".py", ".toml", ".txt", ".sh", ".json", ".typed"),
        *(".html", ".css", ".js", ".typ", ".webmanifest"),
        *PICTURES,
    }
    assert {path.name for path in files() if path.stat().st_size > 400_000} == set()


@pytest.mark.parametrize("name", [n for n in TEXTS if re.fullmatch(r"requirements.*\.txt", n)])
def test_requirements_are_exact_versions_and_nothing_else(name: str) -> None:
    lines = [line for line in TEXTS[name].splitlines() if line and not line.startswith("#")]
    exact = re.compile(r'[A-Za-z0-9._-]+==[0-9][0-9A-Za-z.]*(; python_version >= "3\.\d+")?')
    assert [line for line in lines if not exact.fullmatch(line)] == []
    assert len(pins(name)) == len(lines)


def test_no_package_is_pinned_in_two_files() -> None:
    assert set(pins("requirements.txt")) & set(pins("requirements-dev.txt")) == set()


def test_pins_meet_what_the_package_asks_for() -> None:
    pinned = pins("requirements.txt")
    for asked in map(Requirement, PROJECT["project"]["dependencies"]):
        (pin,) = pinned[canonicalize_name(asked.name)].specifier
        assert asked.specifier.contains(pin.version), asked.name


def test_the_package_asks_for_what_it_imports() -> None:
    distribution = {
        "PIL": "pillow",
        "cv2": "opencv-python-headless",
        "manimgx_fonts": "manimgx-fonts",
        "scp": "SecondaryCoolantProps",
        "vl_convert": "vl-convert-python",
        "sqlalchemy": "SQLAlchemy",
    }
    imported = set()
    for name, text in TEXTS.items():
        if name.startswith("src/") and name.endswith(".py"):
            for node in ast.walk(ast.parse(text)):
                if isinstance(node, ast.Import):
                    imported |= {alias.name.split(".")[0] for alias in node.names}
                elif isinstance(node, ast.ImportFrom) and node.module:
                    imported.add(node.module.split(".")[0])
    outside = imported - set(sys.stdlib_module_names) - {"beltside"}
    asked = {Requirement(text).name for text in PROJECT["project"]["dependencies"]}
    # The driver of PostgreSQL is named in an address, the reader of forms called by the server.
    unseen = {"psycopg", "python-multipart"}
    assert {distribution.get(name, name) for name in outside} | unseen == asked


def test_licence_by_its_spdx_name_and_its_text() -> None:
    assert PROJECT["project"]["license"] == "MIT"
    assert PROJECT["project"]["license-files"] == ["LICENSE"]
    assert TEXTS["LICENSE"].startswith("MIT License")
    assert "WITHOUT WARRANTY OF ANY KIND" in TEXTS["LICENSE"]


def test_one_version_and_its_entry_in_the_changes() -> None:
    version = PROJECT["project"]["version"]
    assert beltside.__version__ == version
    first = re.search(r"^## (.+)$", TEXTS["CHANGELOG.md"], re.MULTILINE)
    assert first is not None
    assert re.fullmatch(rf"Unreleased|{re.escape(version)} \(.+\)", first[1])
    groups = set(re.findall(r"^### (.+)$", TEXTS["CHANGELOG.md"], re.MULTILINE))
    assert groups <= {"Added", "Changed", "Fixed", "Removed"}


def make_targets() -> set[str]:
    return set(re.findall(r"^([a-z]+):", TEXTS["Makefile"], re.MULTILINE))


def test_the_readmes_first_two_commands_exist() -> None:
    block = re.search(r"```\n(.*?)```", TEXTS["README.md"], re.DOTALL)
    assert block is not None
    assert block[1].split("\n")[:2] == ["make demo", "make test"]
    assert {"demo", "test"} <= make_targets()


@pytest.mark.parametrize("name", PAGES)
def test_chores_named_in_pages_exist(name: str) -> None:
    named = re.findall(r"`make ([a-z ]+)`", TEXTS[name])
    assert {verb for words in named for verb in words.split()} <= make_targets()


def test_the_checks_are_the_readmes_commands() -> None:
    assert TEXTS[".ci/run"].strip().endswith("make lint test")


@pytest.mark.parametrize("name", ["README.md", "docs/usage.md", "docs/formats.md"])
def test_commands_shown_in_pages_exist(name: str) -> None:
    commands = typer.main.get_command(app).commands
    for line in re.findall(r"^beltside .*$", TEXTS[name], re.MULTILINE):
        _, word, *rest = shlex.split(line)
        command = commands[word]
        # A group's commands are one word further on.
        while rest and rest[0] in getattr(command, "commands", {}):
            command = command.commands[rest.pop(0)]
        known = {option for parameter in command.params for option in parameter.opts}
        assert {word for word in rest if word.startswith("--")} <= known, line


@pytest.mark.parametrize("name", PAGES)
def test_links_between_pages_lead_somewhere(name: str) -> None:
    folder = (ROOT / name).parent
    targets = re.findall(r"\]\(([^)#]+)", TEXTS[name])
    assert [target for target in targets if not (folder / target).exists()] == []


def test_pages_and_scripts_named_anywhere_exist() -> None:
    named = {
        (other, name)
        for name, text in TEXTS.items()
        if not name.startswith("tests/")
        for other in re.findall(r"\b(?:docs/[a-z0-9/-]+\.md|(?:scripts|bench)/\w+\.\w+)", text)
    }
    assert ("docs/methods/drive.md", "src/beltside/drive/ratios.py") in named
    assert {(other, name) for other, name in named if not (ROOT / other).exists()} == set()


@pytest.mark.parametrize("room", ["drive", "sound", "suspects", "rig", "media"])
def test_rooms_with_a_method_have_its_page(room: str) -> None:
    pages = {
        "drive": ["drive", "bearings"],
        "sound": ["crank-speed", "order-tracking", "envelope", "lines", "events"],
        "suspects": ["odds"],
        "rig": ["rig"],
        "media": ["recordings"],
    }[room]
    assert [page for page in pages if not (ROOT / f"docs/methods/{page}.md").is_file()] == []


def test_decisions_are_numbered_without_gaps() -> None:
    names = sorted(path.name for path in (ROOT / "docs/decisions").glob("*.md"))
    assert [name[:5] for name in names] == [f"{n:04}-" for n in range(1, len(names) + 1)]
    for name in names:
        assert TEXTS[f"docs/decisions/{name}"].startswith(f"# {int(name[:4])}. ")


SOURCED = re.compile(r"\b(1[89]|20)\d\d\b|\b(ISO|DIN|IEC|SAE|ASTM|University|from memory)\b")


def published() -> list[tuple[str, str, str]]:
    """Every check against print: file, name, and the words that must hold its source."""
    found = []
    for name, text in TEXTS.items():
        if not name.startswith("tests/published/test_"):
            continue
        tree = ast.parse(text)
        for node in tree.body:
            if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
                lines = text.splitlines()[node.lineno - 1 : node.end_lineno]
                comments = [line.partition("# ")[2] for line in lines]
                pages = [ast.get_docstring(part) or "" for part in (tree, node)]
                found.append((name, node.name, "\n".join(pages + comments)))
    return found


@pytest.mark.parametrize(("file", "test", "words"), published(), ids=lambda value: value[:60])
def test_checks_against_print_name_their_source(file: str, test: str, words: str) -> None:
    assert SOURCED.search(words), f"{test} in {file} names no source"


@pytest.mark.parametrize("name", [n for n in TEXTS if re.match(r"(src|scripts|bench)/.*\.py$", n)])
def test_every_module_says_what_it_is(name: str) -> None:
    assert ast.get_docstring(ast.parse(TEXTS[name]))
