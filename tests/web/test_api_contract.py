"""The API against its own OpenAPI document, by schemathesis: every operation is asked with values
of and beside the documented form. No answer may be a fault of the server, of a status, header or
form that is not documented.

Job 1 of a fresh shop stands in most questions, so that they reach further than "there is no such
job". The examples are the same in every run; more of them by hand:

    BELTSIDE_API_EXAMPLES=2000 python -m pytest tests/web/test_api_contract.py
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from typing import Any

import pytest
import schemathesis
from fastapi import FastAPI
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    allow_header_conformance,
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
    unsupported_method,
)

from beltside.casework.shop import Shop
from beltside.web.api import api_routers

from .api_shop import api_over, shop_with_a_job

EXAMPLES = int(os.environ.get("BELTSIDE_API_EXAMPLES", "6"))
ALWAYS_ANOTHER = "BELTSIDE_API_EXAMPLES" in os.environ
CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    unsupported_method,
    allow_header_conformance,
]


def operations() -> list[tuple[str, str]]:
    """Path and method of every operation, as the document lists them."""
    app = FastAPI()
    for router in api_routers():
        app.include_router(router)
    paths = app.openapi()["paths"]
    return [(path, method) for path, methods in paths.items() for method in methods]


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    with shop_with_a_job(tmp_path_factory.mktemp("api") / "shop") as shop:
        yield shop


@pytest.fixture(scope="module")
def document(shop: Shop) -> Any:
    return schemathesis.openapi.from_asgi("/api/openapi.json", api_over(shop))


@pytest.fixture(scope="module")
def known(shop: Shop) -> dict[str, list[str]]:
    """Values of path parameters that are there."""
    sheet = shop.record.sheet(shop.record.job(1).id)
    takes = [one.id for one in sheet.of_kind("take")]
    kinds = {one.kind: one.id for one in sheet.entries}
    return {
        "job": ["1"],
        "take": ["1", *takes],
        "entry": list(kinds.values()),
        "finding": ["1", "2"],
        "file": [one.body["file"] for one in sheet.of_kind("take")],
        "check": ["spin-by-hand", "wiggle", "spray-belt"],
        "name": ["engine-cold", "shop", "labour_per_hour"],
        "step": ["apart:belt", "belt"],
        "fastener": ["coolant pump"],
        "test": ["1", kinds["hold-test"]],
    }


@pytest.mark.parametrize(("path", "method"), operations())
def test_an_operation_answers_as_documented(
    document: Any, known: dict[str, list[str]], path: str, method: str
) -> None:
    operation = document[path][method.upper()]
    cases = st.one_of(
        operation.as_strategy(generation_mode=GenerationMode.POSITIVE),
        operation.as_strategy(generation_mode=GenerationMode.NEGATIVE),
    )

    @given(case=cases, data=st.data())
    @settings(
        max_examples=EXAMPLES,
        derandomize=not ALWAYS_ANOTHER,
        database=None,
        deadline=None,
        suppress_health_check=list(HealthCheck),
    )
    def asks(case: Any, data: st.DataObject) -> None:
        for name in case.path_parameters or {}:
            if name in known and data.draw(st.integers(0, 5)):
                case.path_parameters[name] = data.draw(st.sampled_from(known[name]))
        if path.endswith("/forget") and isinstance(case.body, dict):
            # The job is still needed.
            case.body["really"] = False
        # Comparing takes takes its seconds, more on a busy machine.
        case.call_and_validate(checks=CHECKS, timeout=300)

    asks()
