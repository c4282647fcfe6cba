"""`beltside phones`: the list and locking out say the same as the page does."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from beltside.casework.shop import open_shop
from beltside.casework.shop_access import make_code, pair, phone_of
from beltside.cli.main import main


def run(*words: str) -> int:
    with pytest.raises(SystemExit) as ended:
        main(words)
    return int(ended.value.code or 0)


def test_list_end_and_end_all(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = ["--folder", str(tmp_path / "shop")]
    assert run("phones", "list", *folder) == 0
    assert "No phone was paired" in capsys.readouterr().out
    with open_shop(tmp_path / "shop") as shop:
        tokens = [pair(shop, make_code(shop, name, "helper").code)[0] for name in ("Ida", "Per")]
    assert run("phones", "list", *folder, "--json") == 0
    said = capsys.readouterr().out
    listed = json.loads(said)["phones"]
    assert {one["name"]: one["state"] for one in listed} == {"Ida": "holds", "Per": "holds"}
    assert not any(token in said for token in tokens)
    ida = next(one for one in listed if one["name"] == "Ida")
    assert run("phones", "end", ida["id"], *folder) == 0
    assert "revoked, helper, Ida" in capsys.readouterr().out
    with open_shop(tmp_path / "shop") as shop:
        assert phone_of(shop, tokens[0]) is None
        assert phone_of(shop, tokens[1]) is not None
    assert run("phones", "end-all", *folder, "--json") == 0
    assert json.loads(capsys.readouterr().out) == {"ended": 1}
    with open_shop(tmp_path / "shop") as shop:
        assert phone_of(shop, tokens[1]) is None
    assert run("phones", "end", "nothing", *folder) == 2
    assert "no such phone" in capsys.readouterr().err
