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


def test_what_to_buy_keeps_the_users_words(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Marks and families are told with the capitals that they were typed with, and a shell to be bought is coated or
    uncoated, as its other half is."""
    files = {
        "toml": f'unit = "in"\n{LIMITS.replace("narrow-2", "Narrow-2")}',
        "positions": "position,kind,journal,housing_bore,flange\nR1,rod,1.8162,1.9421,Both\n",
        "shells": "shell,kind,half,wall,flange,family,series,coating\n"
        "u1,rod,upper,0.06185,Both,Narrow-2,S1,\nu2,rod,upper,0.06185,,Narrow-2,S1,\nl1,rod,lower,0.0650,,Narrow-2,S1,",
    }
    for coating, word in (("0.0003", "coated"), ("", "uncoated")):
        shells = files["shells"].replace("Both,Narrow-2,S1,\n", f"Both,Narrow-2,S1,{coating}\n")
        more = "\nl2,rod,lower,0.0650,,Narrow-2,S1,0.0003\n"  # the column is looked at only where some shell is coated
        folder = written(tmp_path / word, **{**files, "shells": shells + more})
        (cure,) = reasons(folder, capsys)["R1"]["cures"]
        marks = cure["marks"]
        assert (cure["change"], marks["flange"], marks["series"], cure["family"]) == (
            "lower",
            "Both",
            "S1",
            ["Narrow-2"],
        )
        _, text = told(folder, capsys)
        assert f" will do), flange Both, series S1, {word}, family Narrow-2." in text
        assert "coating" not in text.partition("one more")[2].partition(".")[0]


def test_a_limit_that_is_missed_is_told_where_shells_are_short_as_well(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """R2 has no shells left, and those there are would be too thin for it by 4 tenths at least: both are told, and that
    only the maker may change its max."""
    folder = written(
        tmp_path / "job",
        toml='unit = "in"\n[fit.rod]\ntarget = 0.0022\nmin = 0.0018\nmax = 0.0026\n',
        positions="position,kind,journal,housing_bore\nR1,rod,1.8162,1.9421\nR2,rod,1.8162,1.9429\n",
        shells="shell,kind,half,wall\nu1,rod,upper,0.06185\nl1,rod,lower,0.06185\n",
    )
    (one,) = reasons(folder, capsys)["R2"]["not_offered"]
    assert (one["change"], one["by"]) == ("max", 0.0004)
    status, text = told(folder, capsys)
    assert status == 1 and "NOT FILLED: R2 (rod)" in text
    assert "Misses the maker's max by 4 tenths; only the maker may change that." in text


# Rods that want walls totalling 0.1241, and shells for them.
FIT = "[fit.rod]\nmin = 0.0018\nmax = 0.0030\n"
ROD = "position,kind,journal,housing_bore\nR1,rod,2.0000,2.1265\nR2,rod,2.0001,2.1266\nR3,rod,2.0000,{}\n"
HEAD = "shell,kind,half,wall"


def rods(folder: Path, uppers: str, lowers: str, *, column: str = "", bore: str = "2.1265", **files: str) -> Path:
    """Three rods, the bore of the last. Shells are words such as `0.0620`, or `0.0620,worn` with a further column."""
    halves = [(half, cells) for half, words in (("upper", uppers), ("lower", lowers)) for cells in words.split()]
    rows = [f"{n},rod,{half},{cells}\n" for n, (half, cells) in enumerate(halves, 1)]
    return written(
        folder,
        toml=f'unit = "in"\n{FIT}{files.get("more", "")}',
        positions=files.get("positions", ROD.format(bore)),
        shells=f"{HEAD}{column}\n{''.join(rows)}",
    )


def test_one_more_half_is_for_one_of_several_positions(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Three bores that nothing fits get one half more: that fixes one of them, and so it is said."""
    folder = rods(
        tmp_path, "0.0615 0.0615 0.0615", "0.0622 0.0622 0.0622", more='[rules]\nwall_difference="0.2 thou"\n'
    )
    _, text = told(folder, capsys)
    assert "NOT FILLED: R1, R2, R3 (rod)" in text
    assert "Any one of these changes would fix one of them and make no other position worse: one more upper" in text


def test_many_bad_positions_are_told_together(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Where the same keeps three positions or more out, one item gives what each misses by, what keeps them out once,
    and which changes fix which; changes that fix them do not contradict what was said before."""
    _, text = told(rods(tmp_path, "0.0616 0.0617 0.0616", "0.0617 0.0616 0.0616", bore="2.1268"), capsys)
    assert text.count("NOT TO BE ASSEMBLED: R") == text.count("Kept out by its max alone.") == 1
    for name in ("R1", "R2", "R3"):
        assert re.search(rf"{name} [0-9.]+ tenths? too thin, clearance 0.003[0-9]+ in, max 0.00300 in", text)
    assert "Only the maker may change its max. Any one of these changes would fix one of them and" in text
    assert "even if every other limit" not in text and "needs walls totalling" not in text


def test_a_refused_bore_is_the_one_cause(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A housing bore outside its drawing limits is told as the cause, and no other limit as enough alone."""
    folder = rods(
        tmp_path, "0.0620 0.0621 0.0620", "0.0621 0.0620 0.0620", bore="2.1275",
        more='[drawing.rod]\nhousing_bore = "2.1255..2.1270"\n',
    )  # fmt: skip
    _, text = told(folder, capsys)
    assert "NOT FILLED: R3 (rod): the housing bore 2.12750 in is above its drawing limits" in text
    assert "alone" not in text and "No single change" not in text


def test_nothing_that_is_not_the_shops_is_said_to_help(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With a held shell in the reason nothing invites to let the hold go."""
    folder = rods(tmp_path, "0.0620 0.0621 0.0620", "0.0621 0.0620 0.0620,scratch", column=",hold")
    _, text = told(folder, capsys)
    assert "Kept out by too few lower halves and the holds together. box-1/6 would fit but is on hold" in text
    assert "without any one of these" not in text


def test_columns_that_keep_apart_are_all_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Where each of two columns alone keeps the last two halves apart, both are named."""
    folder = rods(tmp_path, "0.0620,K,new 0.0621,K,new 0.0620,,", "0.0621,K,new 0.0620,K,new 0.0620,K,new",
                  column=",series,condition")  # fmt: skip
    _, text = told(folder, capsys)
    assert "too few upper halves and the rule same_in_bore in series and in condition together." in text


def test_the_same_mark_in_another_word_is_the_one_change(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Where a position asks for `ja` and shells are marked `yes`, the change that would fix it is told, and not that
    there is none."""
    positions = ROD.format("2.1265").replace("bore\n", "bore,flange\n").replace("2.1266\n", "2.1266,ja\n")
    folder = rods(tmp_path, "0.0620 0.0621 0.0620 0.0620,yes", "0.0621 0.0620 0.0620 0.0620,yes", column=",flange",
                  positions=positions)  # fmt: skip
    _, text = told(folder, capsys)
    assert "Kept out by matching flange alone. If box-1/4 and box-1/8 belong there, write `yes` as its flange." in text
    assert "No single change" not in text


def test_a_wall_that_no_gauge_finds_is_not_proposed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With a guard that leaves a millionth each way no other half is proposed, only what can be done."""
    gauge = "[rules]\nguard = 0.736\n[gauge.m]\nlimit = 0.0002\nresolution = 0.0001\nrepeatability = 0.0001\n"
    measured = '[measured.rod]\njournal = "m"\nhousing_bore = "m"\nwall = "m"\n'
    folder = rods(tmp_path, "0.0620 0.0621 0.0618", "0.0621 0.0620 0.0618", more=gauge + measured)
    _, text = told(folder, capsys)
    assert "NOT TO BE ASSEMBLED: R" in text and "a guard of 0." in text and "one more" not in text


def test_shells_that_are_not_measured_come_first(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """While a shell of the kind has no wall, nothing is bought: NEXT is to measure it."""
    folder = rods(tmp_path, "0.0620 0.0621 ,", "0.0621 0.0620 0.0620", column=",note")
    _, text = told(folder, capsys)
    assert "First take the missing readings" in text
    assert "Open another box" not in text and "one more" not in text and "another box;" not in text


def test_a_locked_shell_without_a_wall_is_told_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Its position waits for it, and its box does not list it again."""
    positions = ROD.format("2.1265").replace("bore\n", "bore,upper\n").replace("2.1265\nR2", "2.1265,3\nR2")
    folder = rods(tmp_path, "0.0620 0.0621 , 0.0620", "0.0621 0.0620 0.0620", column=",note", positions=positions)
    _, text = told(folder, capsys)
    assert "NOT YET MEASURED: R1 (rod): no wall of box-1/3" in text and text.count("NOT YET MEASURED:") == 1


@pytest.mark.parametrize("held", [True, False])
def test_a_doubtful_shell_that_is_in_no_position(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], held: bool
) -> None:
    """A held shell in doubt asks for no work, like one that is not measured; of a spare one, fitting may begin."""
    uppers = "0.0620 0.0621 0.0620" + ("" if held else " 0.0645")
    lowers = "0.0621 0.0620 0.0620" + (" 0.0645,dent" if held else " 0.0620")
    status, text = told(rods(tmp_path, uppers, lowers, column=",hold"), capsys)
    assert status == (0 if held else 1) and ("IN DOUBT" in text) != held
    assert "Lay out the shells as shown" in text and "do not touch" not in text
    assert ("NEXT - Fitting may begin: the rod readings" in text) != held


def test_a_doubtful_spare_shell_does_not_mark_an_empty_position(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """An empty position whose own readings are good is not marked as in doubt; that a doubtful shell could go there is
    why nothing is proposed for it."""
    folder = rods(
        tmp_path, "0.0620 0.0621 0.0620 0.0625", "0.0621 0.0620 0.0620 0.0624", bore="2.1275",
        more='[drawing.rod]\nhousing_bore = "2.1255..2.1270"\n',
    )  # fmt: skip
    _, text = told(folder, capsys)
    assert "IN DOUBT: box-1/4 wall" in text and "R3 NOT FILLED NEEDS ATTENTION" in text
    assert "No change is proposed while box-1/4, which could go there, is in doubt: measure that again first." in text
