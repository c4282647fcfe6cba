"""The proof sheet of a full job: time and size of the PDF and the HTML file.

Beside it, in the same run, the time poppler takes to read the text of the same PDF.

usage: python bench/proof.py [--repeats 5]
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "casework"))

from proof_jobs import full_job  # type: ignore[import-not-found]

from beltside.casework.proof_clips import Clips
from beltside.casework.shop import open_shop, write
from beltside.casework.shop_proof import hand_out, proof_of
from beltside.proof.sheet_html import proof_html
from beltside.proof.sheet_pdf import proof_pdf
from figures import Figure, table

CLIP_BYTES = 120_000
"""10 s of AAC at 96 kbit/s."""


def measure(repeats: int = 5) -> list[Figure]:
    """Median times of gathering and writing; sizes."""
    with (
        tempfile.TemporaryDirectory() as folder,
        open_shop(Path(folder) / "shop") as shop,
    ):
        job = full_job(shop)

        def made() -> bytes:
            # Something new each time, so that nothing is given again as it was.
            write(shop, job, "note", {"words": "looked at once more"})
            return proof_pdf(hand_out(shop, job))

        pdf = made()
        whole = median(made, repeats)
        sheet = proof_of(shop, job)
        html = proof_html(sheet, Clips(b"\x5a" * CLIP_BYTES, b"\xa5" * CLIP_BYTES))
        page = median(lambda: proof_html(sheet), repeats)
        file = Path(folder) / "sheet.pdf"
        file.write_bytes(pdf)
        reading = median(
            lambda: subprocess.run(
                ["pdftotext", str(file), "-"], check=True, stdout=subprocess.DEVNULL
            ),
            repeats,
        )
    return [
        Figure("proof sheet, full job: gathered and PDF", whole, "s", 2.0),
        Figure("proof sheet: PDF", len(pdf) / 1e6, "MB", 0.5),
        Figure("proof sheet: HTML", page, "s"),
        Figure("proof sheet: HTML with two 10 s clips", len(html) / 1e6, "MB", 3.0),
        Figure("PDF made over its text read by poppler", whole / reading, "times"),
    ]


def median(do: Callable[[], object], repeats: int) -> float:
    """Median time of `repeats` runs [s]."""
    times = []
    for _ in range(repeats):
        begun = time.perf_counter()
        do()
        times.append(time.perf_counter() - begun)
    return sorted(times)[len(times) // 2]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--repeats", type=int, default=5)
    print(table(measure(parser.parse_args().repeats)))


if __name__ == "__main__":
    main()
