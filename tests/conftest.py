"""What holds for all tests."""

import signal
from collections.abc import Iterator, Sequence
from types import SimpleNamespace
from typing import Any

import pytest

pytest.register_assert_rewrite("oracles")


@pytest.fixture(scope="session", autouse=True)
def ctrl_c_is_heard() -> Iterator[None]:
    """A shell starts a job in the background with SIGINT ignored, and what tests start would inherit that."""
    before = signal.getsignal(signal.SIGINT)
    if before is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


# The summary counts what was left out, also where workers of xdist leave it out: each of them the same.


def pytest_deselected(items: Sequence[pytest.Item]) -> None:
    output = getattr(items[0].config, "workeroutput", {})
    output["deselected"] = output.get("deselected", 0) + len(items)


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node: Any) -> None:
    count = getattr(node, "workeroutput", {}).get("deselected", 0)
    node.config.pluginmanager.getplugin("terminalreporter").stats["deselected"] = [SimpleNamespace()] * count


@pytest.fixture(autouse=True)
def page_of_which_nothing_is_known(monkeypatch: pytest.MonkeyPatch) -> None:
    """Reports are as wide as where nothing is known, whatever terminal or test runner the tests run in."""
    monkeypatch.delenv("COLUMNS", raising=False)
