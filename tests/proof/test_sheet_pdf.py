"""The proof sheet on paper, opened by other programs than the one that made it.

Readers: pypdf, pikepdf (qpdf), poppler, and zxing for the QR code. What PDF/A-2b asks for is from
ISO 19005-2:2011 (from memory), clause beside each check.
"""

from __future__ import annotations

import io
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pikepdf
import pypdf
import pytest
import zxingcpp
from PIL import Image

sys.path.insert(0, str(Path(__file__).parent))

from sheets import EMOJI, MANY_SCRIPTS, MARKUP, RIGHT_TO_LEFT, full_job

from beltside.casework.proof_sheet import ProofSheet
from beltside.casework.shop import Shop, open_shop, write
from beltside.casework.shop_proof import hand_out, proof_of
from beltside.proof.sheet_fonts import character_map, font_files
from beltside.proof.sheet_pdf import proof_pdf
from beltside.proof.sheet_words import code_of

LARGEST_BYTES = 500_000


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    with open_shop(tmp_path_factory.mktemp("proof") / "shop") as shop:
        yield shop


@pytest.fixture(scope="module")
def sheet(shop: Shop) -> ProofSheet:
    return hand_out(shop, full_job(shop))


@pytest.fixture(scope="module")
def pdf(sheet: ProofSheet) -> bytes:
    return proof_pdf(sheet)


def words_of(pdf: bytes) -> str:
    pages = pypdf.PdfReader(io.BytesIO(pdf)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def by_poppler(pdf: bytes, tmp_path: Path, *options: str) -> str:
    file = tmp_path / "sheet.pdf"
    file.write_bytes(pdf)
    done = subprocess.run(
        ["pdftotext", *options, str(file), "-"], capture_output=True, text=True, check=True
    )
    return done.stdout


def test_one_to_two_pages_and_small(pdf: bytes) -> None:
    assert 1 <= len(pypdf.PdfReader(io.BytesIO(pdf)).pages) <= 2
    assert len(pdf) < LARGEST_BYTES


def test_the_same_sheet_gives_the_same_bytes(sheet: ProofSheet, pdf: bytes) -> None:
    assert proof_pdf(sheet) == pdf


def test_qpdf_finds_nothing_wrong(pdf: bytes, tmp_path: Path) -> None:
    file = tmp_path / "sheet.pdf"
    file.write_bytes(pdf)
    done = subprocess.run(["qpdf", "--check", str(file)], capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        assert opened.check_pdf_syntax() == []


@pytest.mark.parametrize("us", [False, True])
def test_what_pdf_a_asks_for(sheet: ProofSheet, us: bool) -> None:
    with pikepdf.open(io.BytesIO(proof_pdf(sheet, us=us))) as opened:
        root = opened.Root
        with opened.open_metadata() as metadata:
            assert metadata["pdfaid:part"] == "2"  # 6.6.4
            assert metadata["pdfaid:conformance"] == "B"
            assert metadata["dc:title"] == f"Proof sheet, job {sheet.job_number}"
        assert "/Filter" not in root.Metadata
        (intent,) = root.OutputIntents  # 6.2.3
        assert intent.S == "/GTS_PDFA1"
        assert len(intent.DestOutputProfile.read_bytes()) > 128
        assert "/Encrypt" not in opened.trailer  # 6.1.3
        assert "/ID" in opened.trailer
        assert "/AcroForm" not in root
        assert "/OpenAction" not in root  # 6.5.2
        assert "/AA" not in root
        assert "/EmbeddedFiles" not in root.get("/Names", {})  # 6.8
        for thing in opened.objects:
            if isinstance(thing, pikepdf.Dictionary):
                assert thing.get("/S") != "/JavaScript"  # 6.5.1
                assert "/JS" not in thing
            if isinstance(thing, pikepdf.Stream):
                assert thing.get("/Filter") != "/LZWDecode"  # 6.1.7.2
                assert "/F" not in thing  # 6.1.7.1


def test_tagged_with_headings_in_order_and_pictures_told(pdf: bytes) -> None:
    """ISO 32000-1:2008, 14.7 and 14.8.4: structure, headings, figures with their words."""
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        assert opened.Root.MarkInfo.Marked is True or bool(opened.Root.MarkInfo.Marked)
        assert str(opened.Root.Lang) == "en"
        kinds: list[str] = []
        told: list[str] = []

        def walk(node: pikepdf.Object) -> None:
            if isinstance(node, pikepdf.Array):
                for one in node:
                    walk(one)
            elif isinstance(node, pikepdf.Dictionary):
                if "/S" in node:
                    kinds.append(str(node.S))
                    if node.S == "/Figure":
                        told.append(str(node.Alt))
                if "/K" in node:
                    walk(node.K)

        walk(opened.Root.StructTreeRoot.K)
    headings = [kind for kind in kinds if kind.startswith("/H")]
    assert headings[0] == "/H1"
    assert headings[1:] == ["/H2"] * 9
    assert len(told) == 3
    assert any("third-octave" in words for words in told)
    assert any("Coolant pump" in words for words in told)


def test_every_font_is_embedded(pdf: bytes, tmp_path: Path) -> None:
    """ISO 19005-2, 6.2.11.4. By poppler's list: columns emb, sub, uni."""
    file = tmp_path / "sheet.pdf"
    file.write_bytes(pdf)
    done = subprocess.run(["pdffonts", str(file)], capture_output=True, text=True, check=True)
    rows = done.stdout.splitlines()[2:]
    assert rows
    for line in rows:
        assert line.split()[-5:-2] == ["yes", "yes", "yes"], line


def test_text_comes_out_in_reading_order(pdf: bytes, tmp_path: Path) -> None:
    order = [
        "The noise is gone",
        "Quieter by",
        "Complaint",
        "It whines at idle",
        "Cause",
        "coolant pump bearing",
        "Correction",
        "CP-1104",
        "22 N·m",
        "Before and after",
        "9.4 dB (8.1 to 10.6)",
        "Cooling system",
        "the system holds its pressure",
        "Seen, and to be watched",
        "Small cracks",
        "Agreed and charged",
        "448.10",
        "For the owner",
        "Not tested",
        "How to hold this sheet against the record",
    ]
    for text in (words_of(pdf), " ".join(by_poppler(pdf, tmp_path, "-layout").split())):
        at = -1
        for words in order:
            found = text.find(words, at + 1)
            assert found > at, words
            at = found


def test_us_units_on_letter_paper(sheet: ProofSheet) -> None:
    """22 N·m are 16.2 lbf·ft, 107 kPa 15.5 psi, -36.4 °C -33.5 °F (NIST SP 811, 2008)."""
    pdf = proof_pdf(sheet, us=True)
    words = words_of(pdf)
    for figure in ("16.2 lb·ft", "15.5 psi", "−34 °F", "mi"):
        assert figure in words
    assert "kPa" not in words
    box = pypdf.PdfReader(io.BytesIO(pdf)).pages[0].mediabox
    assert (float(box.width), float(box.height)) == (612.0, 792.0)


def test_a_phone_reads_the_code(sheet: ProofSheet, pdf: bytes, tmp_path: Path) -> None:
    file = tmp_path / "sheet.pdf"
    file.write_bytes(pdf)
    stem = tmp_path / "page"
    subprocess.run(["pdftoppm", "-r", "110", "-png", str(file), str(stem)], check=True)
    read = [
        code.text
        for page in sorted(tmp_path.glob("page*.png"))
        for code in zxingcpp.read_barcodes(Image.open(page))
    ]
    assert read == [code_of(sheet)]
    assert sheet.digest.upper() in read[0]
    assert f"JOB {sheet.job_number} " in read[0]


@pytest.mark.parametrize("name", [MARKUP, MANY_SCRIPTS])
def test_a_name_prints_as_typed(shop: Shop, name: str, tmp_path: Path) -> None:
    job = full_job(shop, owner=name, words=name, car=name)
    pdf = proof_pdf(proof_of(shop, job))
    words = " ".join(by_poppler(pdf, tmp_path).split())
    assert words.count(" ".join(name.split())) >= 3
    assert "�" not in words


def test_right_to_left_and_emoji_are_there(shop: Shop, tmp_path: Path) -> None:
    """Extraction turns and shapes such text in its own ways: each letter has to be in it."""
    pdf = proof_pdf(proof_of(shop, full_job(shop, owner=f"{RIGHT_TO_LEFT} {EMOJI}")))
    words = by_poppler(pdf, tmp_path)
    letters = {letter for letter in f"{RIGHT_TO_LEFT}🚗🔧👩" if not letter.isspace()}
    assert letters <= set(words)
    assert "�" not in words


def test_what_no_font_has_is_said(shop: Shop, tmp_path: Path) -> None:
    pdf = proof_pdf(proof_of(shop, full_job(shop, owner="漢字 \U000e1000 é̂̂ ש̂́ ก̂́")))
    words = by_poppler(pdf, tmp_path)
    assert "for ��" in words
    assert "is printed as �" in words


def test_marks_that_turn_text_cannot_hide_a_figure(shop: Shop, tmp_path: Path) -> None:
    job = full_job(shop)
    write(shop, job, "part-used", {"name": "Belt \u202e00.001 \u2066x\u2069\u0007"})
    words = by_poppler(proof_pdf(proof_of(shop, job)), tmp_path)
    assert "Belt 00.001 x" in words


def test_half_empty_and_empty_jobs_give_a_page(shop: Shop, tmp_path: Path) -> None:
    job = shop.record.new_job(by="x").job.id
    words = by_poppler(proof_pdf(proof_of(shop, job)), tmp_path)
    assert "This job is not finished." in words
    assert "The cooling system was not tested for leaks." in words
    write(shop, job, "complaint", {"words": "squeals"})
    write(shop, job, "outcome", {"cured": True})
    words = by_poppler(proof_pdf(proof_of(shop, job)), tmp_path)
    assert "squeals" in words


def test_long_words_take_more_pages(shop: Shop) -> None:
    job = full_job(shop, words="It whines at idle. " * 900)
    pages = pypdf.PdfReader(io.BytesIO(proof_pdf(proof_of(shop, job)))).pages
    assert len(pages) > 2


def test_our_character_map_is_that_of_fonttools() -> None:
    """Second reader: fontTools' best character map of each font."""
    from fontTools.ttLib import TTFont

    for path in font_files():
        theirs = {
            code
            for table in TTFont(path)["cmap"].tables
            if table.format in (4, 12) and table.platformID in (0, 3)
            for code in table.cmap
        }
        ours = character_map(path.read_bytes())
        assert theirs <= ours
        # Ranges may hold a few code points that stand for no picture.
        assert len(ours - theirs) <= 0.02 * len(ours)
