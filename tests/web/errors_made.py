"""What errors say that a page can come to show, read off the source.

From the code of the pages, names are followed from function to function: what a function names it
may call. A name behind a dot is taken for every function of that name, so rather too much is
followed than too little.
"""

from __future__ import annotations

import ast
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import product
from pathlib import Path
from typing import Final

import beltside
from beltside.casework.shop_analysis import METHODS

FOLDER: Final = Path(beltside.__file__).parent
GAP: Final = "{}"
"""Stands in a text where the code puts a value in."""
TURNED_AWAY: Final = ("beltside.cli", "beltside.web.api", "beltside.web.serve")
"""Commands, and what answers programs: a person at a page comes by none of them."""
BY_NAME: Final = {("beltside.media.picture", "unpacked"), *METHODS.values()}
"""Functions that are called in processes of their own, by a name in a text."""
PARTS: Final = ("given", "allowed", "instead")
BY_FIELD: Final = ("wrong", "problems", "missing", "faults")
"""Tables that say what is wrong with each field of a form."""

_DEPTH: Final = 5
"""So far down the tree of errors goes at most."""

Function = tuple[str, str]
"""A module and a name in it, with those it stands in: "Shop.keep"; "" for the module itself."""


@dataclass(frozen=True)
class Told:
    """A text that an error holds, and where it is made."""

    place: str
    text: str


@cache
def _modules() -> dict[str, ast.Module]:
    return {
        ".".join(("beltside", *path.relative_to(FOLDER).with_suffix("").parts)).removesuffix(
            ".__init__"
        ): ast.parse(path.read_text(encoding="utf-8"))
        for path in FOLDER.rglob("*.py")
    }


def _own(node: ast.AST, inside: str = "") -> Iterator[tuple[str, ast.AST]]:
    """Every node below one, each with the function or class it stands in."""
    for child in ast.iter_child_nodes(node):
        if isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            name = f"{inside}.{child.name}".lstrip(".")
            yield name, child
            yield from _own(child, name)
        else:
            yield inside, child
            yield from _own(child, inside)


class _Names:
    """Which functions there are, what each names, and whom a name means."""

    def __init__(self) -> None:
        self.named: dict[Function, set[tuple[bool, str]]] = {}
        self.everywhere: dict[str, set[Function]] = defaultdict(set)
        self.imported: dict[str, dict[str, Function]] = {}
        for module, tree in _modules().items():
            self.named[module, ""] = set()
            self.imported[module] = {}
            for inside, node in _own(tree):
                self._note(module, inside, node)

    def _note(self, module: str, inside: str, node: ast.AST) -> None:
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            self.everywhere[node.name].add((module, inside))
            self.named.setdefault((module, inside), set())
        elif isinstance(node, ast.Name):
            self.named[module, inside].add((False, node.id))
        elif isinstance(node, ast.Attribute):
            self.named[module, inside].add((True, node.attr))
        elif isinstance(node, ast.ImportFrom) and node.module:
            for one in node.names:
                self.imported[module][one.asname or one.name] = (node.module, one.name)

    def meant(self, module: str, behind_a_dot: bool, name: str) -> set[Function]:
        """Whom a name means in a module."""
        if behind_a_dot:
            return self.everywhere.get(name, set())
        here = {one for one in self.everywhere.get(name, ()) if one[0] == module}
        if here or name not in self.imported.get(module, {}):
            return here
        other, there = self.imported[module][name]
        return self.meant(other, False, there) if other in self.imported else set()

    def next_to(self, function: Function) -> set[Function]:
        """Those that a function may call, with what comes with them: modules, own methods."""
        module, _ = function
        found = {
            one for named in self.named.get(function, ()) for one in self.meant(module, *named)
        }
        found |= {
            (other, f"{name}.{special}")
            for other, name in found
            for special in ("__init__", "__post_init__", "__enter__", "__exit__", "__call__")
        }
        return found | {(other, "") for other, _ in found}


@cache
def reached() -> frozenset[Function]:
    """Every function that the pages' code leads to."""
    names = _Names()
    left = [one for one in names.named if one[0].startswith("beltside.web")] + [*BY_NAME]
    found: set[Function] = set()
    while left:
        one = left.pop()
        if one in found or one not in names.named or one[0].startswith(TURNED_AWAY):
            continue
        found.add(one)
        left.extend(names.next_to(one))
    return frozenset(found)


@cache
def errors() -> frozenset[str]:
    """Names of the errors Beltside raises on purpose."""
    classes = [one for tree in _modules().values() for one in ast.walk(tree)]
    found = {"BeltsideError"}
    for _ in range(_DEPTH):
        found |= {
            one.name
            for one in classes
            if isinstance(one, ast.ClassDef) and found & {ast.unparse(base) for base in one.bases}
        }
    return frozenset(found)


def texts_of(node: ast.AST) -> Sequence[str]:
    """What an expression may say, each value in it as a gap; none where it has no words."""
    if isinstance(node, ast.Constant):
        return [node.value] if isinstance(node.value, str) else []
    if isinstance(node, ast.IfExp):
        return [*texts_of(node.body), *texts_of(node.orelse)]
    if isinstance(node, ast.BoolOp):
        return [text for value in node.values for text in texts_of(value)]
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add):
        sides = [texts_of(side) or [GAP] for side in (node.left, node.right)]
        return ["".join(pieces) for pieces in product(*sides)]
    if isinstance(node, ast.JoinedStr):
        pieces = [
            (texts_of(one.value) if isinstance(one.value, ast.IfExp) else []) or [GAP]
            if isinstance(one, ast.FormattedValue)
            else texts_of(one)
            for one in node.values
        ]
        return ["".join(each) for each in product(*pieces)]
    if isinstance(node, ast.Dict):
        return [text for value in node.values for text in texts_of(value)]
    return []


def _told(node: ast.AST) -> Sequence[str]:
    """What an error says, where a node makes one or says what is wrong with a field."""
    if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Subscript):
        table = node.targets[0].value
        return texts_of(node.value) if ast.unparse(table) in BY_FIELD else []
    if not isinstance(node, ast.Call):
        return []
    name = ast.unparse(node.func).split(".")[-1]
    keyed = [one.value for one in node.keywords if one.arg in PARTS]
    if not keyed and name not in errors():
        return []
    made = [*node.args, *keyed]
    # The first that a form's error is given is the kind of entry, no words.
    first = 1 if name == "FieldProblemsError" else 0
    return [text for one in made[first:] for text in texts_of(one)]


@cache
def told() -> Sequence[Told]:
    """Every text of an error that a page can come to show."""
    can_be = reached()
    return [
        Told(f"{module}:{node.lineno}", text)  # type: ignore[attr-defined]
        for module, tree in _modules().items()
        for inside, node in _own(tree)
        if (module, inside) in can_be
        for text in _told(node)
        if text.strip()
    ]
