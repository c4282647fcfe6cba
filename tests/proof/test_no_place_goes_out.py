"""A photo's place, time and device do not go out with what the owner gets."""

from __future__ import annotations

import base64
import io
import re
import subprocess
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from beltside.casework.shop import keep, open_shop, write
from beltside.casework.shop_how import how_of, photos_of
from beltside.casework.shop_proof import clips_of, hand_out
from beltside.proof.how_sheet import how_html, how_pdf
from beltside.proof.sheet_html import proof_html
from beltside.proof.sheet_pdf import proof_pdf

PHONE, NOTE = "Invented Phone 7", "taken on Harskrogen 11"


def photo() -> bytes:
    """With the notes a phone writes: place, time, device (EXIF 2.32)."""
    rng = np.random.default_rng(8)
    image = Image.fromarray(rng.integers(0, 255, (240, 320, 3), dtype=np.uint8))
    exif = image.getexif()
    exif[0x0110], exif[0x010E], exif[0x0132] = PHONE, NOTE, "2026:11:02 09:14:55"
    exif.get_ifd(0x8825).update({1: "N", 2: (59.0, 19.0, 45.48), 3: "E", 4: (18.0, 4.0, 6.96)})
    out = io.BytesIO()
    image.save(out, "JPEG", exif=exif)
    with Image.open(io.BytesIO(out.getvalue())) as there:
        assert there.getexif().get_ifd(0x8825)[2][2] == pytest.approx(45.48)
    return out.getvalue()


def pictures_in_html(text: str) -> list[bytes]:
    found = re.findall(r"data:image/[a-z+]+;base64,([A-Za-z0-9+/=]+)", text)
    return [base64.b64decode(one) for one in found]


def test_neither_on_paper_nor_in_html(tmp_path: Path) -> None:
    with open_shop(tmp_path / "shop") as shop:
        job = shop.record.new_job([("owner", {"name": "Ola Berg"})], by="x").job.id
        kept = keep(shop, [photo()], media_type="image/jpeg").sha256
        write(shop, job, "photo", {"file": kept, "step": "pump", "caption": "it"}, files=[kept])
        write(shop, job, "step-tick", {"step": "pump"})
        watched = {"words": "a crack", "watch": True, "files": [kept]}
        write(shop, job, "observation", watched, files=[kept])
        steps = how_of(shop, job)
        photos = photos_of(shop, steps)
        sheet = hand_out(shop, job)
        pages = {
            "how.html": how_html(steps, photos).encode(),
            "how.pdf": how_pdf(steps, photos),
            "proof.html": proof_html(sheet, clips_of(shop, sheet)).encode(),
            "proof.pdf": proof_pdf(sheet),
        }
    held = pictures_in_html(pages["how.html"].decode())
    assert any(Image.open(io.BytesIO(one)).size == (320, 240) for one in held)
    for name, data in pages.items():
        path = tmp_path / name
        path.write_bytes(data)
        plain = data
        if name.endswith(".pdf"):
            # All streams unpacked by another program.
            done = subprocess.run(
                ["qpdf", "--qdf", "--object-streams=disable", str(path), "-"],
                capture_output=True,
                check=True,
            )
            plain += done.stdout
        plain += b"".join(pictures_in_html(data.decode("latin-1")))
        for mark in (b"Exif\0\0", PHONE.encode(), NOTE.encode(), b"2026:11:02 09:14:55"):
            assert mark not in plain, (name, mark)
        for one in pictures_in_html(data.decode("latin-1")):
            if one[:2] == b"\xff\xd8":
                with Image.open(io.BytesIO(one)) as image:
                    assert dict(image.getexif()) == {}
