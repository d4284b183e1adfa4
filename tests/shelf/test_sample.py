"""The sample of three engines that are built one after the other through one shelf, in eight commands."""

import json
import shutil
from pathlib import Path

import pytest
from made.commands import Ran

SAMPLE = Path(__file__).parents[2] / "samples" / "three-engines"
ENGINES = ("saw", "pump", "crane")


def test_three_engines_through_one_shelf(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """All positions of all three are filled inside their limits, no shell is in two engines, and what is left is known:
    the singles among it too."""
    monkeypatch.setenv("FITMATCH_DB", str(tmp_path / "shelf.db"))
    home = Path(shutil.copytree(SAMPLE, tmp_path / "three-engines"))
    boxes = [home / "boxes" / f"rods-{letter}.csv" for letter in "ABC"]
    assert Ran(capsys, "shelf", "take-in", *boxes, "--unit", "mm").status == 0
    placed: list[tuple[str, str]] = []
    for name in ENGINES:
        ran = Ran(capsys, "assign", home / name, "--from-shelf", "--save", "--json", "--quiet")
        plan = json.loads(ran.out)
        assert (ran.status, plan["status"]) == (0, "proven"), ran.err
        assert len(plan["positions"]) == 4 and all(p["within_limits"] for p in plan["positions"])
        placed += [(p[half]["box"], p[half]["shell"]) for p in plan["positions"] for half in ("upper", "lower")]
        assert Ran(capsys, "shelf", "set-aside", home / name).status == 0
    assert len(placed) == len(set(placed)) == 24
    left = json.loads(Ran(capsys, "shelf", "show", "--state", "free", "--json").out)["shells"]
    single = json.loads(Ran(capsys, "shelf", "show", "--single", "--json").out)["shells"]
    assert len(left) == 6 and 0 < len(single) < 6
    assert {(s["box"], s["shell"]) for s in left}.isdisjoint(placed)
