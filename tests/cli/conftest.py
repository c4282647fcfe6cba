"""Hand-made results for the command tests."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest

_NAME = "beltside_tests_made_results"


def load_made_results() -> ModuleType:
    """The module tests/proof/made_results.py, however pytest was started."""
    if _NAME not in sys.modules:
        path = Path(__file__).parent.parent / "proof" / "made_results.py"
        spec = importlib.util.spec_from_file_location(_NAME, path)
        assert spec is not None
        assert spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules[_NAME] = module
        spec.loader.exec_module(module)
    return sys.modules[_NAME]


@pytest.fixture(scope="session")
def made() -> ModuleType:
    """Functions that make results by hand: `listen_result`, `deaf_result`, `find_result`."""
    return load_made_results()
