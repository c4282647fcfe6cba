"""The OpenAPI document as rows that a page can show: groups, operations, fields, forms."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from http import HTTPStatus
from typing import Any, Final

_FORM: Final = "#/components/schemas/"
METHODS: Final = ("get", "post", "put", "patch", "delete")


@dataclass(frozen=True)
class FieldRow:
    """A parameter or a field: its name, what kind it is, whether it must be there, what it means.

    `form` names the form it has, "" for a plain value.
    """

    name: str
    kind: str
    form: str
    required: bool
    says: str


@dataclass(frozen=True)
class AnswerRow:
    """A status, what it means, and the form of its answer."""

    status: str
    says: str
    kind: str
    form: str


@dataclass(frozen=True)
class Operation:
    """One operation; `body` says in words what is sent, "" for nothing."""

    name: str
    method: str
    path: str
    title: str
    says: Sequence[str]
    parameters: Sequence[FieldRow]
    body: str
    body_form: str
    answers: Sequence[AnswerRow]


@dataclass(frozen=True)
class Form:
    """A form of a body or an answer, with its fields."""

    name: str
    says: str
    fields: Sequence[FieldRow]


@dataclass(frozen=True)
class ApiDocument:
    """Everything the page shows: operations by group, forms by name.

    `problems` are answers that every operation may give; they are left out of each.
    """

    groups: Mapping[str, Sequence[Operation]]
    problems: Sequence[AnswerRow]
    forms: Sequence[Form]


def api_document(openapi: Mapping[str, Any]) -> ApiDocument:
    """The rows of an OpenAPI 3.1 document."""
    groups: dict[str, list[Operation]] = {}
    for path, methods in openapi["paths"].items():
        for method in METHODS:
            if method in methods:
                one = methods[method]
                groups.setdefault(one["tags"][0], []).append(_operation(path, method, one))
    schemas = openapi["components"]["schemas"]
    every = [one for operations in groups.values() for one in operations]
    shared = [row for row in every[0].answers if all(row in one.answers for one in every)]
    return ApiDocument(
        {
            group: [
                replace(one, answers=[row for row in one.answers if row not in shared])
                for one in operations
            ]
            for group, operations in groups.items()
        },
        shared,
        [_form(name, schemas[name]) for name in sorted(schemas)],
    )


def _operation(path: str, method: str, one: Mapping[str, Any]) -> Operation:
    title, *more = [_line(part) for part in one["description"].split("\n\n")]
    body, form = "", ""
    if "requestBody" in one:
        content = one["requestBody"]["content"]
        kinds = list(content)
        if kinds == ["application/json"]:
            body, form = _kind(content["application/json"]["schema"])
            body = body or "JSON"
        else:
            body = f"{one['requestBody'].get('description', '')}: {', '.join(kinds)}"
    return Operation(
        f"{method}-{re.sub('[^a-z0-9]+', '-', path.lower()).strip('-')}",
        method.upper(),
        path,
        title,
        more,
        [
            FieldRow(
                row["name"],
                f"{_kind(row['schema'])[0]}, in the {row['in']}",
                _kind(row["schema"])[1],
                row.get("required", False),
                _line(row.get("description", "")) or _says(row["schema"]),
            )
            for row in one.get("parameters", ())
        ],
        body,
        form,
        [_answer(status, told) for status, told in sorted(one["responses"].items())],
    )


def _answer(status: str, told: Mapping[str, Any]) -> AnswerRow:
    says = told.get("description", "")
    if says == "Successful Response":
        says = HTTPStatus(int(status)).phrase
    content = told.get("content", {})
    if list(content) == ["application/json"]:
        kind, form = _kind(content["application/json"]["schema"])
        return AnswerRow(status, says.rstrip("."), "" if form else kind, form)
    return AnswerRow(status, says, ", ".join(content), "")


def _form(name: str, schema: Mapping[str, Any]) -> Form:
    required = set(schema.get("required", ()))
    rows = [
        FieldRow(key, *_kind(one), key in required, _says(one))
        for key, one in schema.get("properties", {}).items()
    ]
    return Form(name, _line(schema.get("description", "")), rows)


def _says(schema: Mapping[str, Any]) -> str:
    """What a field means; where null is allowed too, it stands one level down."""
    told = [schema, *schema.get("anyOf", ())]
    return next((_line(one["description"]) for one in told if "description" in one), "")


def _kind(schema: Mapping[str, Any]) -> tuple[str, str]:
    """A schema in words, and the form it names."""
    if "$ref" in schema:
        name = str(schema["$ref"]).removeprefix(_FORM)
        return name, name
    if "anyOf" in schema:
        parts = [_kind(one) for one in schema["anyOf"]]
        return " or ".join(words for words, _ in parts), next((f for _, f in parts if f), "")
    if "enum" in schema:
        return " | ".join(f'"{one}"' for one in schema["enum"]), ""
    if "const" in schema:
        return f'"{schema["const"]}"', ""
    kind = schema.get("type")
    if kind == "array":
        words, form = _kind(schema.get("items", {}))
        return f"list of {words}", form
    if kind == "object":
        more = schema.get("additionalProperties")
        if isinstance(more, Mapping) and more:
            words, form = _kind(more)
            return f"table of {words}", form
        return "table", ""
    return f"{_type_words(schema)}{_limits(schema)}", ""


_TYPES: Final = {
    "string": "text",
    "number": "number",
    "integer": "whole number",
    "boolean": "true or false",
    "null": "null",
}
_FORMATS: Final = {"date-time": "moment, ISO 8601", "date": "day, ISO 8601", "binary": "bytes"}


def _type_words(schema: Mapping[str, Any]) -> str:
    kind = schema.get("type", "anything")
    if isinstance(kind, list):
        return " or ".join(_TYPES.get(str(one), str(one)) for one in kind)
    return _FORMATS.get(str(schema.get("format")), _TYPES.get(str(kind), str(kind)))


def _limits(schema: Mapping[str, Any]) -> str:
    said = [
        f"{words} {schema[key]:g}"
        for key, words in (
            ("exclusiveMinimum", "above"),
            ("minimum", "from"),
            ("maximum", "to"),
            ("minLength", "at least"),
            ("maxLength", "up to"),
        )
        if key in schema
    ]
    unit = " characters" if {"minLength", "maxLength"} & schema.keys() else ""
    return f", {' '.join(said)}{unit}" if said else ""


def _line(text: str) -> str:
    return " ".join(text.split())
