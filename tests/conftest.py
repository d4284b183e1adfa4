"""What holds for every test."""

import pytest


@pytest.fixture(autouse=True)
def page_of_which_nothing_is_known(monkeypatch: pytest.MonkeyPatch) -> None:
    """Reports are as wide as where nothing is known, whatever terminal or test runner the tests run in."""
    monkeypatch.delenv("COLUMNS", raising=False)
