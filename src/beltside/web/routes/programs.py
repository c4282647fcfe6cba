"""The page that describes the API, out of its own OpenAPI document; needs nothing from outside."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from beltside.web.api.frame import BY_HEADER
from beltside.web.api_document import ApiDocument, api_document
from beltside.web.pages import Page, show

router = APIRouter()


@dataclass(frozen=True)
class ApiPage(Page):
    """Every operation of the API with its fields and answers.

    `address` is where this server is asked, `header` what a write must carry.
    """

    template = "api.html"
    document: ApiDocument
    address: str
    header: str


@router.get("/api")
def api_page(request: Request) -> HTMLResponse:
    """The page."""
    document = api_document(request.app.openapi())
    address = str(request.base_url).rstrip("/")
    return show(request, ApiPage(document, address, BY_HEADER))
