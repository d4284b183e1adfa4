"""What holds for all tests."""

import signal
from collections.abc import Iterator, Sequence
from types import SimpleNamespace
from typing import Any

import pytest

pytest.register_assert_rewrite("oracles")


@pytest.fixture(scope="session", autouse=True)
def the_keyboard_is_heard() -> Iterator[None]:
    """A shell starts a job in the background with the keyboard's signals ignored, and what tests start would inherit
    that."""
    heard = {signal.SIGINT: signal.default_int_handler}
    if hasattr(signal, "SIGQUIT"):
        heard[signal.SIGQUIT] = signal.SIG_DFL
    before = {number: signal.getsignal(number) for number in heard}
    for number, handler in heard.items():
        if before[number] is signal.SIG_IGN:
            signal.signal(number, handler)
    yield
    for number, handler in before.items():
        signal.signal(number, handler)


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
