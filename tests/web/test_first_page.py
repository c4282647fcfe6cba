"""The first page comes before the rest is loaded, and the rest is there when it is asked for."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

from alembic.script import ScriptDirectory
from fastapi.testclient import TestClient

from beltside.casework.shop import Shop
from beltside.jobs.database import MIGRATIONS, TABLES_AT
from beltside.web.app import create_app
from beltside.web.drawn import MOST_KEPT, drawn_once
from beltside.web.later import SHOWN_LATER, warm
from beltside.web.settings import WebSettings

HEAVY = ("scipy", "av", "cv2", "altair", "vl_convert", "PIL", "alembic", "typst", "tomlkit")
FIRST = """
import json, sys
from pathlib import Path
from fastapi.testclient import TestClient
from beltside.web.app import create_app
from beltside.web.drawn import MOST_KEPT, drawn_once
from beltside.web.later import SHOWN_LATER, warm
from beltside.web.settings import WebSettings

settings = WebSettings(folder=Path(sys.argv[1]), hosts=("testserver",), workers=0)
client = TestClient(create_app(settings, first_page_soon=True))
first = client.get("/").status_code
loaded = sorted({name.partition(".")[0] for name in sys.modules})
print(json.dumps([first, loaded, client.get("/job/1").status_code, client.get("/api/jobs").json()]))
"""


def test_the_first_page_loads_no_numerics_and_the_next_one_what_it_needs(shop: Shop) -> None:
    shop.record.new_job([("complaint", {"words": "howls"})], by="Ida")
    ran = subprocess.run(
        [sys.executable, "-c", FIRST, str(shop.folder)],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2] / "src")},
    )
    first, loaded, second, jobs = json.loads(ran.stdout)
    assert (first, second, len(jobs["jobs"])) == (200, 200, 1)
    assert [name for name in HEAVY if name in loaded] == []


def test_the_rest_is_loaded_after_the_first_answer(shop: Shop) -> None:
    app = create_app(WebSettings(hosts=("testserver",), workers=0), shop=shop, first_page_soon=True)
    with TestClient(app) as client:
        assert client.get("/").status_code == 200
        assert client.get("/nothing").status_code == 404
        assert client.get("/api/openapi.json").json()["paths"]


def test_a_record_of_this_version_needs_no_look_at_the_migrations() -> None:
    assert ScriptDirectory(str(MIGRATIONS)).get_current_head() == TABLES_AT


def test_what_pages_show_later_is_there_to_be_loaded() -> None:
    warm()
    assert [name for name in SHOWN_LATER if name not in sys.modules] == []


def test_a_picture_is_drawn_once_and_few_are_kept() -> None:
    made: list[int] = []

    def draw(number: int) -> str:
        made.append(number)
        return f"<svg>{number}</svg>"

    for number in (1, 1, 2, 1):
        assert drawn_once(("test", number), lambda n=number: draw(n)) == f"<svg>{number}</svg>"
    assert made == [1, 2]
    for number in range(10, 10 + MOST_KEPT):
        drawn_once(("test", number), lambda n=number: draw(n))
    drawn_once(("test", 1), lambda: draw(1))
    assert made.count(1) == 2
