"""The how-it-was-done sheet on paper and as a page."""

from __future__ import annotations

import io
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pikepdf
import pypdf
import pytest
from PIL import Image

sys.path.insert(0, str(Path(__file__).parent))

from sheets import MARKUP, full_job

from beltside.casework.shop import Shop, keep, open_shop, write
from beltside.casework.shop_how import how_of, photos_of
from beltside.proof.how_sheet import how_html, how_pdf, small_jpeg


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with open_shop(tmp_path / "shop") as shop:
        yield shop


def words_of(pdf: bytes) -> str:
    pages = pypdf.PdfReader(io.BytesIO(pdf)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def test_paper_has_the_steps_in_order_and_no_owner(shop: Shop) -> None:
    how = how_of(shop, full_job(shop))
    photos = photos_of(shop, how)
    pdf = how_pdf(how, photos)
    words = words_of(pdf)
    at = [words.index(step) for step in ("Drain the coolant", "Take the coolant", "Fit the belt")]
    assert at == sorted(at)
    for shown in ("41 min", "Where it fought back", "22 N·m", "before.m4a", "CP-1104"):
        assert shown in words
    assert "Vos" not in words
    assert how_pdf(how, photos) == pdf
    with pikepdf.open(io.BytesIO(pdf)) as opened, opened.open_metadata() as metadata:
        assert (metadata["pdfaid:part"], metadata["pdfaid:conformance"]) == ("2", "B")
        assert opened.check_pdf_syntax() == []
        assert "/StructTreeRoot" in opened.Root


def test_us_units(shop: Shop) -> None:
    how = how_of(shop, full_job(shop))
    assert "16.2 lb·ft" in words_of(how_pdf(how, {}, us=True))
    assert "16.2</b> lb·ft" in how_html(how, {}, us=True)


def test_page_holds_all_of_it_and_names_no_address(shop: Shop) -> None:
    job = full_job(shop)
    write(
        shop, job, "step-tick", {"step": "x", "says": MARKUP, "note": "<script>alert(1)</script>"}
    )
    how = how_of(shop, job)
    text = how_html(how, photos_of(shop, how))
    assert "Drain the coolant" in text
    assert "data:image/jpeg;base64," in text
    assert "http" not in text.replace("http-equiv", "")
    assert "<script" not in text
    assert "Vos" not in text


def test_photos_go_along_small_and_without_what_the_camera_wrote(shop: Shop) -> None:
    picture = Image.fromarray(np.full((1200, 1600, 3), 130, dtype=np.uint8))
    exif = Image.Exif()
    exif[0x010F] = "a camera of somebody"
    out = io.BytesIO()
    picture.save(out, "JPEG", exif=exif)
    job = full_job(shop)
    sha256 = keep(shop, [out.getvalue()], media_type="image/jpeg").sha256
    write(shop, job, "photo", {"file": sha256, "caption": "front"})
    how = how_of(shop, job)
    small = Image.open(io.BytesIO(small_jpeg(photos_of(shop, how)[sha256])))
    assert max(small.size) == 720
    assert len(small.getexif()) == 0
    assert b"somebody" not in how_pdf(how, photos_of(shop, how))


def test_an_empty_job_gives_a_page(shop: Shop) -> None:
    how = how_of(shop, shop.record.new_job(by="x").job.id)
    assert "No step was ticked" in words_of(how_pdf(how, {}))
    assert "No step was ticked" in how_html(how, {})
