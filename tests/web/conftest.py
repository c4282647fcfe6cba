"""A server in memory over an empty shop, and a browser that does as forms do."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx2
import pytest
from fastapi.testclient import TestClient

from beltside.casework.shop import Shop, open_shop
from beltside.web.app import create_app
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
