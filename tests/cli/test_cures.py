"""What `fitmatch assign` proposes if a position fails: it can be followed word for word, without harm."""

import json
import re
from pathlib import Path
from typing import Any

import pytest
from made.pump_set import written

from fitmatch.cli.main import main


def told(folder: Path, capsys: pytest.CaptureFixture[str], *options: str) -> tuple[int, str]:
    """The exit status, and the report as if on one endless line."""
    with pytest.raises(SystemExit) as end:
        main(["assign", str(folder), *options])
    return int(end.value.code or 0), " ".join(capsys.readouterr().out.split())


def reasons(folder: Path, capsys: pytest.CaptureFixture[str]) -> dict[str, dict[str, Any]]:
    with pytest.raises(SystemExit):
        main(["assign", str(folder), "--json"])
    return {reason["position"]: reason for reason in json.loads(capsys.readouterr().out)["reasons"]}


@pytest.mark.parametrize("limit", ["1.586 mm", "1.5854 mm", "0.06245", "0.06241"])
def test_a_printed_limit_written_back_into_job_toml_cures(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], limit: str
) -> None:
    """Shells of 1.585 mm in an inch job are kept out by min_wall; the limit that is printed lets them in."""
    fit = "[fit.rod]\ntarget = 0.002\nmin = 0.0018\nmax = 0.0022\n"
    toml = f'unit = "in"\n{fit}[rules.min_wall]\nrod = "{{}}"\n'
    folder = written(
        tmp_path / "job",
        toml=toml.format(limit if limit.endswith("mm") else f"{limit} in"),
        positions="position,kind,journal,housing_bore [mm]\nR1,rod,1.8162,49.35228\n",
        shells="shell,kind,half,wall [mm]\nu1,rod,upper,1.585\nl1,rod,lower,1.585\n",
    )
    status, text = told(folder, capsys)
    assert status == 1
    (printed,) = re.findall(r"the rule min_wall at ([0-9.]+ in) ", text)
    (folder / "job.toml").write_text(toml.format(printed), encoding="utf-8")
    assert told(folder, capsys)[0] == 0


LIMITS = '[fit.rod]\ntarget = 0.0022\nmin = 0.0020\nmax = 0.0024\nfamily = ["narrow-2"]\n'


def test_a_shell_to_be_bought_is_described_to_the_last_mark(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A thrust bore without a flanged upper asks for one with its flange, family, series and walls of the drawing."""
    folder = written(
        tmp_path / "job",
        toml=f'unit = "in"\n{LIMITS}[drawing.rod]\nwall = "0.0617..0.0619"\n[rules]\nsame_in_bore = ["series"]\n',
        positions="position,kind,journal,housing_bore,flange\nR1,rod,1.8162,1.9421,yes\nR2,rod,1.8162,1.9421,\n",
        shells="shell,kind,half,wall,flange,family,series,hold\n"
        "u1,rod,upper,0.06185,,narrow-2,s1,\nu2,rod,upper,0.06185,yes,narrow-2,s1,scratched\n"
        "l1,rod,lower,0.06185,yes,narrow-2,s1,\nl2,rod,lower,0.06185,,narrow-2,s1,\n",
    )
    reason = reasons(folder, capsys)["R1"]
    (cure,) = reason["cures"]
    assert (cure["change"], cure["marks"], cure["family"]) == ("upper", {"flange": "yes", "series": "s1"}, ["narrow-2"])
    assert (cure["low"], cure["high"]) == (0.0617, 0.0619)
    assert [(one["change"], one["name"], one["why"]) for one in reason["not_offered"]] == [
        ("hold", "box-1/u2", "scratched")
    ]
    _, text = told(folder, capsys)
    assert (
        "one more upper half: wall 0.06185 in (0.06170 to 0.06190 will do), flange yes, series s1, family narrow-2."
        in text
    )
    assert "box-1/u2 would fit but is on hold: 'scratched'." in text
    assert "fit no shell of rod yet: another box or reading may change them all" in text and "Lay out" not in text


def test_a_doubtful_journal_is_measured_again_before_anything_is_changed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One turn of a thimble puts R1 out of its limits; nothing is proposed for it but to measure again, and a position
    that misses by honest readings has its cures."""
    rows = [f"R{n},rod,1.816{n % 3},1.942{n % 3}\n" for n in range(2, 9)]
    folder = written(
        tmp_path / "job",
        toml='unit = "in"\n[fit.rod]\ntarget = 0.0022\nmin = 0.0018\nmax = 0.0026\n',
        positions=f"position,kind,journal,housing_bore\nR1,rod,1.7912,1.9421\n{''.join(rows)}R9,rod,1.8157,1.9424\n",
        shells="shell,kind,half,wall\n"
        + "".join(f"{half[0]}{n},rod,{half},0.06185\n" for half in ("upper", "lower") for n in range(1, 11)),
    )
    found = reasons(folder, capsys)
    assert found["R1"]["in_doubt"] and found["R1"]["cures"] == found["R1"]["not_offered"] == []
    assert not found["R9"]["in_doubt"] and found["R9"]["cures"]
    _, text = told(folder, capsys)
    assert "No change is proposed while a reading of it is in doubt: measure that again first." in text
