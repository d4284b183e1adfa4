"""How the program starts: help, version, and what it loads for them."""

import subprocess
import sys

import click
import pytest

import fitmatch
from fitmatch.cli.main import group, main

HEAVY = ("ortools", "pandas", "numpy", "openpyxl", "jinja2", "sqlalchemy")
LIST_LOADED = f"""
import sys
from fitmatch.cli.main import main
try:
    main(sys.argv[1:])
finally:
    print(*(name for name in {HEAVY!r} if name in sys.modules), file=sys.stderr)
"""
LIST_OURS = """
import sys
from fitmatch.cli.main import main
try:
    main(sys.argv[1:])
finally:
    print(*(name for name in sys.modules if name.partition(".")[0] == "fitmatch"), file=sys.stderr)
"""
FACE = {
    "fitmatch",
    "fitmatch.version",
    "fitmatch.cli",
    "fitmatch.cli.main",
    "fitmatch.cli.exit_codes",
    "fitmatch.cli.lazy",
}


def commands() -> list[click.Command]:
    context = click.Context(group)
    found = [group.get_command(context, name) for name in group.list_commands(context)]
    return [group, *(command for command in found if command is not None)]


@pytest.mark.parametrize(
    "args",
    [["--help"], ["--version"], ["assign", "--help"], ["new", "--help"], ["assembled", "--help"], ["sheet", "--help"]],
)
def test_help_loads_nothing_heavy(args: list[str]) -> None:
    """Help and version come without the solver and without the table libraries."""
    ran = subprocess.run([sys.executable, "-c", LIST_LOADED, *args], capture_output=True, text=True, check=False)
    assert ran.returncode == 0 and ran.stdout
    assert ran.stderr.strip() == ""


@pytest.mark.parametrize("args", [["--help"], ["--version"]])
def test_the_list_of_commands_loads_none_of_them(args: list[str]) -> None:
    """Help and version load nothing of the program but what prints them."""
    ran = subprocess.run([sys.executable, "-c", LIST_OURS, *args], capture_output=True, text=True, check=False)
    assert set(ran.stderr.split()) == FACE


def test_the_list_of_commands_says_what_each_says_of_itself() -> None:
    """The line that help shows of a command is the beginning of the command's own help."""
    listed = group.get_help(click.Context(group, info_name="fitmatch", terminal_width=200, max_content_width=200))
    for command in commands()[1:]:
        assert f"  {command.name}" in listed and command.get_short_help_str(limit=200) in listed


def test_the_list_of_what_is_loaded_is_not_blind() -> None:
    """The check above does see a heavy library once it is loaded."""
    code = "import numpy" + LIST_LOADED
    ran = subprocess.run([sys.executable, "-c", code, "--version"], capture_output=True, text=True, check=False)
    assert ran.stderr.strip() == "numpy"


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    """`--version` prints name and version."""
    with pytest.raises(SystemExit) as left:
        main(["--version"])
    assert left.value.code == 0
    assert capsys.readouterr().out == f"fitmatch {fitmatch.__version__}\n"


@pytest.mark.parametrize("command", commands(), ids=lambda command: str(command.name))
def test_every_command_has_help_with_an_example(command: click.Command) -> None:
    """Help says what the command does, shows how to call it, and every option has a sentence of its own."""
    with click.Context(command, info_name="fitmatch") as context:
        text = command.get_help(context)
    assert "Example:\n    fitmatch " in text
    assert command.get_short_help_str(limit=100).endswith(".")
    assert all(p.help for p in command.params if isinstance(p, click.Option))


@pytest.mark.parametrize(
    ("typed", "meant"), [("asign", "assign"), ("ASSIGN", "assign"), ("nwe", "new"), ("assi", "assign"), ("bake", None)]
)
def test_a_mistyped_command(capsys: pytest.CaptureFixture[str], typed: str, meant: str | None) -> None:
    """A near-miss of a command is taken for a typing error, and the right one is named; another word is only
    refused."""
    with pytest.raises(SystemExit) as left:
        main([typed, "job"])
    err = capsys.readouterr().err
    assert left.value.code == 2 and f"No such command '{typed}'." in err
    assert (f"Did you mean '{meant}'?" in err) if meant else "Did you mean" not in err


def test_every_listed_command_can_be_run() -> None:
    """The group knows each of its commands by the name under which it lists it."""
    names = ["fitmatch", "new", "measure", "check", "assign", "compare", "advise", "boxes", "range", "film"]
    names += ["sheet", "assembled", "shelf"]
    assert [command.name for command in commands()] == names


def test_the_module_can_be_run() -> None:
    """`python -m fitmatch` is the same program."""
    ran = subprocess.run([sys.executable, "-m", "fitmatch", "--version"], capture_output=True, text=True, check=False)
    assert (ran.returncode, ran.stdout) == (0, f"fitmatch {fitmatch.__version__}\n")
