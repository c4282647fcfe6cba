"""Every page declares what its template uses, and every text on it can be translated."""

from __future__ import annotations

import ast
import importlib
import pkgutil
from collections.abc import Iterator
from dataclasses import fields
from pathlib import Path

import pytest
from jinja2 import nodes
from jinja2.meta import find_undeclared_variables

import beltside.web.routes
from beltside.web.pages import FRAME_NAMES, Page, templates
from beltside.web.texts import LANGUAGES, table

FOLDER = Path(beltside.web.__file__).parent
TEMPLATES = sorted(path.name for path in (FOLDER / "templates").glob("*.html"))
for module in pkgutil.iter_modules(beltside.web.routes.__path__):
    importlib.import_module(f"beltside.web.routes.{module.name}")


def pages(of: type[Page] = Page) -> Iterator[type[Page]]:
    for page in of.__subclasses__():
        yield page
        yield from pages(page)


PAGES = sorted(set(pages()), key=lambda page: page.__name__)


def tree(name: str) -> nodes.Template:
    environment = templates()
    assert environment.loader is not None
    return environment.parse(environment.loader.get_source(environment, name)[0])


def used_by(name: str) -> set[str]:
    """Names a template and those it extends or includes take from outside."""
    parsed = tree(name)
    imported = {
        alias[1] if isinstance(alias, tuple) else alias
        for node in parsed.find_all(nodes.FromImport)
        for alias in node.names
    }
    own = {macro.name for macro in parsed.find_all(nodes.Macro)}
    found = set(find_undeclared_variables(parsed)) - imported - own
    for node in parsed.find_all((nodes.Extends, nodes.Include)):
        assert isinstance(node.template, nodes.Const), f"{name} names its template by a variable"
        found |= used_by(node.template.value)
    return found


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.__name__)
def test_a_page_declares_what_its_template_uses(page: type[Page]) -> None:
    declared = {field.name for field in fields(page)}
    assert declared & FRAME_NAMES == set()
    assert used_by(page.template) <= declared | FRAME_NAMES | set(templates().globals)
    assert page.__doc__


def texts_of_templates() -> dict[str, set[str]]:
    """Every text in t("..."), by template; a text put together at run time is not seen here."""
    found: dict[str, set[str]] = {}
    for name in TEMPLATES:
        for call in tree(name).find_all(nodes.Call):
            if isinstance(call.node, nodes.Name) and call.node.name == "t":
                assert call.args, f"{name}: t() without a text"
                if isinstance(call.args[0], nodes.Const):
                    found.setdefault(name, set()).add(call.args[0].value)
    return found


def texts_of_routes() -> set[str]:
    """Texts that routes hand to templates, wrapped in text_("...") to be found here."""
    found = set()
    for path in FOLDER.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if (
                isinstance(node, ast.Call)
                and isinstance(node.func, ast.Name)
                and node.func.id == "text_"
                and isinstance(node.args[0], ast.Constant)
            ):
                found.add(str(node.args[0].value))
    return found


@pytest.mark.parametrize("language", [name for name in LANGUAGES if name != "en"])
def test_every_text_has_its_translation(language: str) -> None:
    known = set(table(language))
    wanted = set().union(*texts_of_templates().values(), texts_of_routes())
    assert wanted - known == set()
    assert known - wanted == set(), "translations that no page asks for"


@pytest.mark.parametrize("language", [name for name in LANGUAGES if name != "en"])
def test_translations_keep_their_gaps(language: str) -> None:
    from string import Formatter

    def gaps(text: str) -> set[str]:
        return {name for _, name, _, _ in Formatter().parse(text) if name}

    assert {en for en, other in table(language).items() if gaps(en) != gaps(other)} == set()


@pytest.mark.parametrize("name", TEMPLATES)
def test_templates_hold_no_scripts_or_styles_of_their_own(name: str) -> None:
    """The content security policy would refuse them."""
    text = (FOLDER / "templates" / name).read_text(encoding="utf-8").lower()
    for word in (" style=", "<style", " onclick=", " onchange=", "javascript:", "|safe"):
        assert word not in text
    assert text.count("<script") == text.count('<script type="module" src=') + text.count(
        '<script type="application/json"'
    )
