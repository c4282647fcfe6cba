"""A server in memory over an empty shop, and a browser that does as forms do."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx2
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from starlette.routing import Mount

from beltside.casework.shop import Shop, open_shop
from beltside.web.app import create_app
from beltside.web.limits import PhoneLimits
from beltside.web.phones_door import PhonesDoor
from beltside.web.settings import WebSettings


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with open_shop(tmp_path / "shop") as shop:
        yield shop


class Browser:
    """Gets pages and sends the forms on them, token and all."""

    def __init__(self, client: TestClient) -> None:
        self.client = client

    def get(self, address: str) -> str:
        answer = self.client.get(address)
        assert answer.status_code == 200, answer.text
        return answer.text

    def send(self, page: str, action: str, fields: dict[str, Any], **more: Any) -> httpx2.Response:
        """Send a form of the page at `page` to `action`; redirects are not followed."""
        found = re.search(r'name="_token" value="([^"]+)"', self.get(page))
        assert found is not None, f"no form on {page}"
        return self.client.post(
            action, data={"_token": found[1], **fields}, follow_redirects=False, **more
        )


@pytest.fixture
def browser(shop: Shop) -> Iterator[Browser]:
    app = create_app(WebSettings(hosts=("testserver",), workers=0), shop=shop)
    with TestClient(app) as client:
        yield Browser(client)


class Machine:
    """A machine on a local network that no test has to have."""

    def __init__(self, folder: Path) -> None:
        self.addresses: tuple[str, ...] = ("192.168.1.7",)
        self.door = PhonesDoor(
            folder, port=8461, addresses=lambda: self.addresses, name=lambda: "tarn"
        )


@pytest.fixture
def machine(shop: Shop) -> Machine:
    return Machine(shop.folder)


@pytest.fixture
def app(shop: Shop, machine: Machine) -> FastAPI:
    """An application with both doors open."""
    return create_app(WebSettings(workers=0), shop=shop, phones=machine.door)


class Doors:
    """Browsers at both doors of one application; each has its own cookies."""

    def __init__(self, app: FastAPI) -> None:
        self.app = app

    def here(self) -> Browser:
        """At the computer."""
        return Browser(TestClient(self.app, base_url="http://localhost:8460"))

    def phone(self, address: str = "192.168.1.20") -> Browser:
        """A phone that is not paired."""
        return Browser(
            TestClient(self.app, base_url="https://192.168.1.7:8461", client=(address, 50000))
        )

    def no_limits(self) -> None:
        """For tests that walk everything: ten minutes pass before every request."""
        minutes = itertools.count(step=600)
        self.app.state.limits = PhoneLimits(now=lambda: float(next(minutes)))

    def code(self, role: str = "helper", name: str = "Ida") -> str:
        """A fresh code, made at the computer."""
        sent = self.here().send("/phones", "/phones/code", {"name": name, "role": role})
        assert sent.status_code == 200, sent.text
        found = re.search(r'class="code">([A-Z0-9]{4}-[A-Z0-9]{4})<', sent.text)
        assert found is not None
        return found[1]

    def paired(self, role: str = "helper", name: str = "Ida", **where: str) -> Browser:
        """A paired phone."""
        phone = self.phone(**where)
        sent = phone.send("/pair", "/pair", {"code": self.code(role, name)})
        assert sent.status_code == 303, sent.text
        return phone


def routes_of(app: FastAPI) -> list[tuple[str, str]]:
    """Method and path of every route of the application, however it was put in."""

    def walk(routes: Any) -> Iterator[tuple[str, str]]:
        for route in routes:
            if hasattr(route, "effective_candidates"):
                yield from walk(route.effective_candidates())
            elif isinstance(route, Mount):
                yield "GET", f"{route.path}/{{path:path}}"
            else:
                for method in route.methods - {"HEAD"}:
                    yield method, route.path

    return sorted(set(walk(app.routes)))


@pytest.fixture
def doors(app: FastAPI) -> Doors:
    return Doors(app)
