"""job.toml: every key's name, type and value, and what must hold between them."""

from pathlib import Path

import pytest
from made.intake_jobs import JOB, POSITIONS, codes, mistakes, write_job

from fitmatch.intake.reading import read_job
from fitmatch.records.study.unopened import BoxesTold, StepTold

RULES = JOB + "[rules]\n"  # the first key below stands in row 9


def told(tmp_path: Path, job: str, **files: str) -> list[str]:
    return mistakes(write_job(tmp_path, job, **files))


@pytest.mark.parametrize(
    ("job", "place"),
    [
        ('unit = "in\n[fit.rod]\n', "job.toml:1: "),
        ('unit = "in"\n[fit.rod\n', "job.toml:2: "),
        (JOB + "[fit.rod]\n", "job.toml:8: "),
        (JOB + "x = [1,\n", "job.toml: "),
        (JOB + "target = 1 2\n", "job.toml:8: "),
        (JOB + "x = " + "9" * 5_000 + "\n", "job.toml: "),
        (JOB + "x = " + "[" * 100_000 + "\n", "job.toml: "),
    ],
)
def test_broken_toml(tmp_path: Path, job: str, place: str) -> None:
    """What is not valid TOML is reported with its line, once."""
    (mistake,) = told(tmp_path, job)
    assert mistake.startswith(place)
    assert "; " in mistake
    assert codes(tmp_path) == ["broken-toml"]


def test_a_job_toml_without_any_key(tmp_path: Path) -> None:
    """An empty job.toml is said to be empty; one of comments lacks its unit and its fits."""
    assert told(tmp_path, "\n") == ["job.toml: is empty; fill it in or remove it"]
    assert told(tmp_path, "# nothing\n") == [
        'job.toml: unit: is missing; write unit = "in" or unit = "mm"',
        "job.toml: fit: there is no [fit.KIND] table; write one for each kind, such as [fit.rod]",
    ]


def test_unknown_keys_name_the_nearest(tmp_path: Path) -> None:
    """An unknown key is reported wherever it is, with the nearest known one of its table."""
    job = (
        f'titel = "x"\n{JOB}taget_ratio = 1\n[rule]\n[rules]\nthik_half = {{}}\nlimit_at = 1\n'
        "[coating]\nmesured = 1\n[sources]\npositon = 1\n[drawing.rod]\nhousing = 1\n"
    )
    assert told(tmp_path, job) == [
        f"job.toml:{row}: {key}: no such key; did you mean `{nearest}`?"
        for row, key, nearest in (
            (1, "titel", "title"),
            (9, "fit.rod.taget_ratio", "fit.rod.target_ratio"),
            (10, "rule", "rules"),
            (12, "rules.thik_half", "rules.thick_half"),
            (13, "rules.limit_at", "rules.limits_at"),
            (15, "coating.mesured", "coating.measured"),
            (17, "sources.positon", "sources.positions"),
            (19, "drawing.rod.housing", "drawing.rod.housing_bore"),
        )
    ]


@pytest.mark.parametrize(
    ("lines", "key", "words"),
    [
        ("title = 3", "title", "is the number `3`, not a text"),
        ("title = 1979-05-27", "title", "is a date or time, not a text"),
        ("sources = 1", "sources", "is the number `1`, not a table"),
        ("title = {}", "title", "is a table, not a text"),
        ("sources.positions = ' '", "sources.positions", 'is empty; write a path, such as "positions.csv"'),
        ("sources.shared = ['a\\b.csv']", "sources.shared", "`a\\b.csv` is not written with `/`"),
        ("rules = []", "rules", "is a list, not a table"),
        ("coating = true", "coating", "is `true`, not a table"),
        ("drawing = 'x'", "drawing", "is the text `x`, not a table"),
        ("drawing.rod = 1", "drawing.rod", "is the number `1`, not a table"),
        ("drawing.rod.wall = 0.0618", "drawing.rod.wall", "is the number `0.0618`, not a text; write a range"),
        ("sources.shells = 'shells/*.csv'", "sources.shells", "is the text `shells/*.csv`, not a list; write a list"),
        ("sources.shells = [1]", "sources.shells", "holds the number `1` where a text belongs"),
        ("sources.shared = ['']", "sources.shared", "holds an empty text"),
        ("sources.positions = ['p.csv']", "sources.positions", "is a list, not a text"),
        (
            "rules.thick_half = 'lower'",
            "rules.thick_half",
            "write one half (upper, lower or same) per kind",
        ),
        ("rules.thick_half.rod = 1", "rules.thick_half.rod", 'not a text; write "upper", "lower" or "same"'),
        ("rules.thick_half.rod = 'top'", "rules.thick_half.rod", '`top` is not allowed here; write "upper"'),
        ("rules.limits_at = 'Mean'", "rules.limits_at", '`Mean` is not allowed here; write "tightest" or "mean"'),
        ("rules.match = 'finish'", "rules.match", "is the text `finish`, not a list"),
        ("rules.wall_difference = 'of'", "rules.wall_difference", "`of` is not a number"),
        ("rules.wall_difference = false", "rules.wall_difference", "is `false`, not a length"),
        ("rules.wall_difference = ''", "rules.wall_difference", "is empty"),
        ("rules.thick_half_from = 'off'", "rules.thick_half_from", "`off` is not a number"),
        ("rules.thick_half_from = -0.001", "rules.thick_half_from", "`-0.001` is below zero; a limit is 0 to 2 mm"),
        ("coating.measured = 'wet'", "coating.measured", '`wet` is not allowed here; write "coated" or "bare"'),
        ("coating.counts = 'yes'", "coating.counts", "is the text `yes`; write true or false, without quotes"),
        ("coating.counts = 1", "coating.counts", "is the number `1`; write true or false"),
        (f"rules.wall_difference = 0x{'f' * 5000}", "rules.wall_difference", "characters long"),
        (f"title = 0x{'f' * 5000}", "title", "is the number `0xfff"),
    ],
)
def test_wrong_types_and_words(tmp_path: Path, lines: str, key: str, words: str) -> None:
    """A value of the wrong type or an unknown word is reported at its key with what to write."""
    job = f"{lines}\n" + (JOB.partition("\n")[2] if key == "title" else JOB)
    (mistake,) = told(tmp_path, job)
    assert mistake.startswith(f"job.toml:1: {key}: ")
    assert words in mistake


def test_a_value_in_a_table_of_several_lines(tmp_path: Path) -> None:
    """A key's row is the line where it begins, whatever comments, blank lines and long lists come before it."""
    job = (
        '# top\n\nunit = "in"\n[sources]\nshells = [\n  "shells/*.csv", # all\n]\n'
        '\n[fit.rod] # rods\ntarget = """\nx"""\n'
    )
    assert told(tmp_path, job) == [
        "job.toml:10: fit.rod.target: `x` is not a number; write digits with a decimal point, such as 1.8162"
    ]


@pytest.mark.parametrize(
    ("unit", "words"),
    [
        ('"inch"', '`inch` is not a unit for a job; write unit = "in" or unit = "mm"'),
        ('"IN"', "`IN` is not a unit for a job"),
        ("25.4", "`25.4` is not a unit for a job"),
        ('["in"]', "is not a unit for a job"),
    ],
)
def test_units_of_a_job(tmp_path: Path, unit: str, words: str) -> None:
    """A job is in inches or millimetres."""
    (mistake,) = told(tmp_path, JOB.replace('"in"', unit))
    assert mistake.startswith(f"job.toml:2: unit: {words}")


@pytest.mark.parametrize(
    ("job", "row", "key", "told_of_it"),
    [
        (JOB + "wall_difference = 0.001\n", 8, "fit.rod.wall_difference", "belongs under [rules]"),
        (JOB + "[rules]\nseating = 0.0001\n", 9, "rules.seating", "belongs under [fit.KIND]"),
        (f"guard = 1\n{JOB}", 1, "guard", "belongs under [rules]"),
        (JOB + "[rules]\ntitle = 'x'\n", 9, "rules.title", "belongs at the top, above the first table"),
        (JOB + "[rules]\njournal_taper = 0.001\n", 9, "rules.journal_taper", "belongs under [form.KIND]"),
        (JOB + "[coating]\nlimit = 1\n", 9, "coating.limit", "belongs under [gauge.NAME] or under [temperature]"),
    ],
)
def test_a_key_in_the_wrong_table(tmp_path: Path, job: str, row: int, key: str, told_of_it: str) -> None:
    """What is known elsewhere is told where it belongs, and not which other key is near."""
    assert told(tmp_path, job) == [f"job.toml:{row}: {key}: {told_of_it}; move it there"]


def test_what_follows_from_a_misplaced_key_is_not_reported(tmp_path: Path) -> None:
    """A unit or a limit that stands in the wrong table is not missing besides, nor is a kind without its `fit.`."""
    assert told(tmp_path, "[fit.rod]\nmin = 0.001\nmax = 0.002\nunit = 'in'\n") == [
        "job.toml:4: fit.rod.unit: belongs at the top, above the first table or under [gauge.NAME]; move it there"
    ]
    assert told(tmp_path, "unit = 'in'\ntarget = 0.002\n[fit.rod]\n") == [
        "job.toml:2: target: belongs under [fit.KIND]; move it there"
    ]
    assert told(tmp_path, "unit = 'in'\n[rod]\ntarget = 0.002\n")[0] == (
        "job.toml:2: rod: looks like the name of a kind; head its table [fit.rod]"
    )


@pytest.mark.parametrize(
    ("lines", "belongs"),
    [
        ("[drawing]\njournal = '1.8..1.9'\n", "drawing.journal: belongs under [drawing.KIND], such as [drawing.rod]"),
        ("[form]\nwall_taper = 0.0001\n", "form.wall_taper: belongs under [form.KIND], such as [form.rod]"),
        ("[measured]\nwall = 'mic'\n", "measured.wall: belongs under [measured.KIND], such as [measured.rod]"),
        ("[bench]\nwall_stations = [1]\n", "bench.wall_stations: belongs under [bench.KIND], such as [bench.rod]"),
        (
            "[gauge]\nball = 0.1\n[measured.rod]\nwall = 'mic'\n",
            "gauge.ball: belongs under [gauge.NAME], such as [gauge.mic-1]",
        ),
        ("[gauge]\nball = 0.1\n[gauge.'mic 2']\n", 'gauge.ball: belongs under [gauge.NAME], such as [gauge."mic 2"]'),
        ("[fit]\nguard = 1\n", "fit.guard: belongs under [rules]"),
    ],
)
def test_a_table_without_its_kind(tmp_path: Path, lines: str, belongs: str) -> None:
    """Keys of a kind or a gauge right below the common name are told where they belong, and nothing that follows."""
    assert told(tmp_path, JOB + lines) == [f"job.toml:9: {belongs}; move it there"]


def test_what_follows_from_a_table_without_its_kind_is_not_reported(tmp_path: Path) -> None:
    """Neither a missing target, nor a missing material, nor a gauge that cannot be known by name."""
    assert told(tmp_path, "unit = 'in'\n[fit]\nmin = 0.001\nmax = 0.002\n") == [
        f"job.toml:{row}: fit.{key}: belongs under [fit.KIND], such as [fit.rod]; move it there"
        for row, key in ((3, "min"), (4, "max"))
    ]
    materials = "[temperature]\nroom = 22\n[material]\njournal = 'steel'\nhousing_bore = 'steel'\n"
    assert told(tmp_path, JOB + materials) == [
        f"job.toml:{row}: material.{key}: belongs under [material.KIND], such as [material.rod]; move it there"
        for row, key in ((11, "journal"), (12, "housing_bore"))
    ]
    positions = "position,kind,journal,housing_bore,gauge\nR1,rod,1.8162,1.9421,mic\n"
    assert told(tmp_path, JOB + "[gauge]\nball = 0.1\n", positions=positions) == [
        "job.toml:9: gauge.ball: belongs under [gauge.NAME], such as [gauge.mic-1]; move it there"
    ]


@pytest.mark.parametrize(("line", "table"), [("measured = 'bare'", "coating"), ("readings = 'log.csv'", "sources")])
def test_a_key_that_is_also_the_name_of_a_table(tmp_path: Path, line: str, table: str) -> None:
    """Written at the top with a plain value it is the key that was meant, and not the table."""
    key = line.partition(" ")[0]
    assert told(tmp_path, f"{line}\n{JOB}") == [f"job.toml:1: {key}: belongs under [{table}]; move it there"]


def test_names_with_spaces_are_quoted_in_the_tables_of_messages(tmp_path: Path) -> None:
    """A table that a message asks for is written as job.toml needs it."""
    positions = POSITIONS.replace(",rod", ",big end", 1)
    assert told(tmp_path, JOB, positions=positions) == [
        'positions.csv:2: kind: there is no [fit."big end"]; add it, or write the nearest kind `rod`'
    ]
    assert told(tmp_path, JOB + "[measured.rod]\nwall = 'mic 2'\n") == [
        'job.toml:9: measured.rod.wall: there is no [gauge."mic 2"]; add it'
    ]
    assert told(tmp_path, "unit = 'in'\n['big end']\ntarget = 0.002\n")[0] == (
        'job.toml:2: "big end": looks like the name of a kind; head its table [fit."big end"]'
    )


def test_where_limits_come_from_is_kept(tmp_path: Path) -> None:
    """limits_from is the user's own words, trimmed; a blank one, or one that is no text, is refused."""
    written = JOB + "limits_from = ' engine manual, p. 12 '\n"
    assert read_job(write_job(tmp_path, written)).fits["rod"].limits_from == "engine manual, p. 12"
    assert read_job(write_job(tmp_path, JOB)).fits["rod"].limits_from is None
    example = 'write where min and max come from, such as "engine manual, p. 12"'
    assert told(tmp_path, JOB + "limits_from = ' '\n") == [f"job.toml:8: fit.rod.limits_from: is empty; {example}"]
    assert told(tmp_path, JOB + "limits_from = 12\n") == [
        f"job.toml:8: fit.rod.limits_from: is the number `12`, not a text; {example}"
    ]


BOXES = """[boxes]
budget = 3
within = "0.06 thou"
between = 0.00004
[boxes.step.std]
kind = "rod"
wall = 0.0620
shells = 8
price = 45.50
"""


def test_boxes_not_opened_yet(tmp_path: Path) -> None:
    """[boxes] is read whole and is no part of the digest; nothing in it is needed but the kind of a step."""
    plain = read_job(write_job(tmp_path, JOB))
    job = read_job(write_job(tmp_path, JOB + BOXES))
    step = StepTold("rod", 1_574_800, 8, 45_500)
    assert job.boxes == BoxesTold(3, 1_524, 1_016, {"std": step}) and job.digest == plain.digest
    assert plain.boxes is None
    few = read_job(write_job(tmp_path, JOB + "[boxes.step.std]\nkind = 'rod'\n"))
    assert few.boxes == BoxesTold(steps={"std": StepTold("rod")})


@pytest.mark.parametrize(
    ("old", "new", "told_as"),
    [
        ("budget = 3", "budget = 0", "9: boxes.budget: `0` is not a number of boxes from 1 to 24; write 1, 2, 3"),
        ("budget = 3", "budget = 25", "9: boxes.budget: `25` is not a number of boxes from 1 to 24; write 1, 2, 3"),
        ("0.00004", "1", "11: boxes.between: `1` is 25.4 mm, and a standard deviation of walls is 0 to 0.2 mm"),
        ('kind = "rod"', 'kind = "rad"', "13: boxes.step.std.kind: there is no [fit.rad]; add it, or write the"),
        ('kind = "rod"', "", "12: boxes.step.std.kind: is missing; write the kind of its shells, such as"),
        ("45.50", "-1", "16: boxes.step.std.price: `-1` is outside 0 to 1,000,000; check the figure"),
        ("45.50", "0.0005", "16: boxes.step.std.price: is not a price; write what a box costs, with three decimals"),
        ("shells = 8", "shels = 8", "15: boxes.step.std.shels: no such key; did you mean `boxes.step.std.shells`?"),
        ("[boxes.step.std]", "[boxes.steps.std]", "12: boxes.steps: no such key; did you mean `boxes.step`?"),
    ],
)
def test_what_is_wrong_with_boxes(tmp_path: Path, old: str, new: str, told_as: str) -> None:
    """Each mistake in [boxes] is told at its key, with what may be written."""
    (problem,) = told(tmp_path, JOB + BOXES.replace(old, new))
    assert problem.startswith(f"job.toml:{told_as}"), problem


def test_keys_of_boxes_elsewhere(tmp_path: Path) -> None:
    """A key of [boxes] in another table is told where it belongs."""
    lines = "[rules]\nbudget = 3\n"
    assert told(tmp_path, JOB + lines) == ["job.toml:9: rules.budget: belongs under [boxes]; move it there"]


def test_the_users_own_words_for_the_record(tmp_path: Path) -> None:
    """[record] holds texts under any name, which are kept as they are and are no part of the digest; what is no text,
    or has an invisible character in it, is refused."""
    plain = read_job(write_job(tmp_path, JOB))
    written = JOB + "[record]\nengine = '7 of 9'\n'whose it is' = 'nobody'\n"
    job = read_job(write_job(tmp_path, written))
    assert job.record == {"engine": "7 of 9", "whose it is": "nobody"} and job.digest == plain.digest
    assert told(tmp_path, JOB + "[record]\nengine = 7\n") == [
        'job.toml:9: record.engine: is the number `7`, not a text; write it in quotes, such as "text"'
    ]
    unseen = "holds a line break or another invisible character; write one line"
    assert told(tmp_path, JOB + '[record]\nengine = "a\\nb"\n') == [f"job.toml:9: record.engine: {unseen}"]
    assert told(tmp_path, "record = 'x'\n" + JOB)[0].endswith("write a table, [record]")


def test_without_a_unit_job_toml_is_still_checked(tmp_path: Path) -> None:
    """Its keys, types and writing are, its lengths are not."""
    job = "[fit.rod]\ntarget = 99\nmin = 'x'\nfoo = 1\n[fit.main]\n[fit.cam]\ntarget = '2 tenths'\n"
    assert told(tmp_path, job) == [
        'job.toml: unit: is missing; write unit = "in" or unit = "mm"',
        "job.toml:3: fit.rod.min: `x` is not a number; write digits with a decimal point, such as 1.8162",
        "job.toml:4: fit.rod.foo: no such key; did you mean `fit.rod.min`?",
        "job.toml:5: fit.main: nothing gives a target; write the engine maker's min and max, target or target_ratio",
    ]


@pytest.mark.parametrize("kind", ['""', '" rod"', '"a/b"', '"a\\nb"'])
def test_names_of_kinds(tmp_path: Path, kind: str) -> None:
    """A kind must be a name that a cell can hold."""
    assert "bad-name" in codes(write_job(tmp_path, f"{JOB}[fit.{kind}]\ntarget = 0.002\n"))


def test_kinds_of_other_tables(tmp_path: Path) -> None:
    """[drawing] and thick_half may only name kinds that have a [fit.KIND]; without any fit that lack says it all."""
    more = "[drawing.rods]\nwall = 1\n[rules]\nthick_half = { mian = 'lower' }\n[fit.main]\ntarget = 0.002\n"
    assert told(tmp_path, JOB + more) == [
        "job.toml:8: drawing.rods: there is no [fit.rods]; add it, or write the nearest kind `rod`",
        "job.toml:11: rules.thick_half.mian: there is no [fit.mian]; add it, or write the nearest kind `main`",
    ]
    assert told(tmp_path, JOB + "[drawing.ROD]\nwall = 1\n") == [
        "job.toml:8: drawing.ROD: there is no [fit.ROD]; write the kind with the capitals of its table, `rod`"
    ]
    assert codes(write_job(tmp_path, 'unit = "in"\n[drawing.rods]\n')) == ["no-fit"]


def test_a_fit_that_is_no_table(tmp_path: Path) -> None:
    """A kind that is no table is known all the same, so that its rows are not reported for it."""
    assert told(tmp_path, 'unit = "in"\n[fit]\nrod = 0.0022\n') == [
        "job.toml:3: fit.rod: is the number `0.0022`, not a table; write a table, [fit.rod]"
    ]


@pytest.mark.parametrize("value", ["nan", "inf", "-inf", '"NaN"', '"two"', '""', "1e-1000", '"1,5 thou"'])
def test_targets_that_are_no_lengths(tmp_path: Path, value: str) -> None:
    """What TOML takes for a number need not be a length."""
    assert codes(write_job(tmp_path, JOB.replace("0.0022", value)))[0] in ("not-a-length", "empty-cell")


def test_numbers_keep_their_digits(tmp_path: Path) -> None:
    """A number of job.toml is read as it was typed, underscores and all."""
    assert told(tmp_path, JOB.replace("0.0022", "0.00_22")) == []
    assert told(tmp_path, JOB.replace("0.0022", "+2.2e-3")) == []
    assert told(tmp_path, 'unit = "mm"\n[fit.rod]\ntarget = 3\n', positions="") == [
        "job.toml:3: fit.rod.target: `3` is 3 mm, and a target clearance is more than 0, up to 2 mm; "
        "if another unit was meant, write `3 um` or `3 thou`",
        "positions.csv: is empty; fill it in or remove it",
        *told(tmp_path, 'unit = "mm"\n[fit.rod]\ntarget = 1\n', positions="")[1:],
    ]


def test_targets_and_limits(tmp_path: Path) -> None:
    """min <= target <= max, one target, and some target: each fault is reported once, at its key."""
    assert told(tmp_path, JOB.replace("0.0018", "0.0029")) == [
        "job.toml:6: fit.rod.min: min 0.0029 in is above max 0.0028 in; swap or correct them"
    ]
    assert told(tmp_path, JOB.replace("0.0022", "0.0017")) == [
        "job.toml:5: fit.rod.target: target 0.0017 in is below min 0.0018 in; min <= target <= max must hold"
    ]
    assert told(tmp_path, JOB.replace("0.0022", "0.0029")) == [
        "job.toml:5: fit.rod.target: target 0.0029 in is above max 0.0028 in; min <= target <= max must hold"
    ]
    assert told(tmp_path, JOB.replace("0.0022", "0")) == [
        "job.toml:5: fit.rod.target: `0` is not more than zero; a target clearance is more than 0, up to 2 mm"
    ]
    assert told(tmp_path, JOB + "target_ratio = 0.001\n") == [
        "job.toml:8: fit.rod.target_ratio: is given as well as target; keep one of the two"
    ]
    assert told(tmp_path, 'unit = "in"\n[fit.rod]\nmin = 0.002\n') == [
        "job.toml:2: fit.rod: nothing gives a target; write the engine maker's min and max, target or target_ratio"
    ]
    assert told(tmp_path, 'unit = "in"\n[fit.rod]\nmin = 0\nmax = 0\n') == [
        "job.toml:4: fit.rod.max: the middle of min and max is zero, which cannot be aimed at; "
        "give a target or a larger max"
    ]
    assert told(tmp_path, JOB.replace("0.0022", "0.0018").replace("0.0028", "0.0018")) == []


def test_a_misspelt_target_is_not_missing_besides(tmp_path: Path) -> None:
    """One mistyped key is one mistake."""
    assert codes(write_job(tmp_path, JOB.replace("target", "taget").replace("min", "mn"))) == ["unknown-key"] * 2


def test_a_fit_without_positions_needs_a_target_too(tmp_path: Path) -> None:
    """Every kind's table must be whole, even before the kind has a position."""
    assert told(tmp_path, JOB + "[fit.main]\nmax = 0.002\n") == [
        "job.toml:8: fit.main: nothing gives a target; write the engine maker's min and max, target or target_ratio"
    ]


@pytest.mark.parametrize(
    ("value", "words"),
    [
        ("0", "`0` is not more than zero; write clearance per unit of journal diameter, such as 0.001"),
        ("-0.001", "`-0.001` is not more than zero"),
        ("nan", "`nan` is not a number"),
        ("'0.001'", "is the text `0.001`, not a number; write a number without quotes"),
        ("true", "is `true`, not a number"),
        ("0.1", "gives 0.1816 in at position R1, and a target clearance is more than 0, up to 2 mm; correct the ratio"),
        ("1e-9", "gives 0 in at position R1, and a target clearance is more than 0, up to 2 mm; correct the ratio"),
        ("1", "gives 1.8162 in at position R1"),
        ("0.002", "at position R1 target 0.00365 in is above max 0.0028 in; min <= target <= max must hold"),
        ("0.0005", "at position R1 target 0.0009 in is below min 0.0018 in; min <= target <= max must hold"),
    ],
)
def test_ratios(tmp_path: Path, value: str, words: str) -> None:
    """A ratio is a number above zero with targets between the limits; one line says so for all its positions."""
    (mistake,) = told(tmp_path, JOB.replace("target = 0.0022", f"target_ratio = {value}"))
    assert mistake.startswith(f"job.toml:5: fit.rod.target_ratio: {words}")


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("1.8155", "not-a-range"),
        ("1.8155-1.8165", "not-a-range"),
        ("..1.8165", "not-a-range"),
        ("1.8155..", "not-a-range"),
        ("1.8155..x", "not-a-length"),
        ("1.8165..1.8155", "limits-crossed"),
        ("46.1..46.2 mm", "limits-crossed"),  # each end carries its own unit: 46.1 in
        ("1.8155..18165", "implausible-length"),
        ("-1.8..1.8", "not-positive"),
    ],
)
def test_drawing_limits(tmp_path: Path, text: str, code: str) -> None:
    """A drawing limit is LOW..HIGH, both plausible for what is drawn."""
    folder = write_job(tmp_path, f'{JOB}[drawing.rod]\njournal = "{text}"\n')
    assert codes(folder) == [code]
    assert mistakes(folder)[0].startswith("job.toml:9: drawing.rod.journal: ")


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ('match = ["kind"]', "`kind` cannot be named here"),
        ('match = ["wall"]', "`wall` cannot be named here"),
        ('match = ["box"]', "`box` cannot be named here"),
        ('match = ["flange_upper"]', "`flange_upper` is about one half only; name `flange`, which covers it"),
        ('match = ["finish"]', "no file has a column `finish`; add the column or correct the name"),
        ('same_in_bore = ["Box"]', "`box` cannot be named here"),
        ('same_in_bore = ["series"]', "no shell file has a column `series`; add the column or correct the name"),
        ('match = ["fin\\u200bish"]', "`fin?ish` holds an invisible character"),
        ('match = [" "]', "holds an empty text"),
    ],
)
def test_columns_named_in_rules(tmp_path: Path, line: str, words: str) -> None:
    """A rule may only name columns that are there and that may differ between shells."""
    (mistake,) = told(tmp_path, f"{RULES}{line}\n")
    assert mistake.startswith(f"job.toml:9: rules.{line.partition(' ')[0]}: {words}")


def test_a_column_of_a_rule_misspelt_in_its_header(tmp_path: Path) -> None:
    """It is reported in the header and not a second time at the rule."""
    positions = POSITIONS.replace("bore\n", "bore,finnish\n").replace("21\n", "21,\n").replace("20\n", "20,\n")
    assert told(tmp_path, RULES + 'match = ["finish"]\n', positions=positions) == [
        "positions.csv:1: finnish: no such column; did you mean `finish`? Write that, or choose a less similar name"
    ]


def test_what_follows_from_unreadable_rules_is_not_reported(tmp_path: Path) -> None:
    """Where `match` cannot be read, a shell's column in positions may be one it names."""
    positions = "position,kind,journal,housing_bore,grade\nR1,rod,1.8162,1.9421,a\n"
    assert codes(write_job(tmp_path, RULES + "match = 'grade'\n", positions)) == ["wrong-type"]
    assert codes(write_job(tmp_path, "[", positions)) == ["broken-toml"]


def test_deep_and_odd_keys(tmp_path: Path) -> None:
    """Keys of any writing are reported without harm, quoted where TOML wants quotes."""
    assert told(tmp_path, ".".join("a" * 40) + " = 1\n" + JOB + '"max mum" = 1\n') == [
        "job.toml:1: a: no such key; did you mean `fit`?",
        'job.toml:9: fit.rod."max mum": no such key; did you mean `fit.rod.max`?',
    ]


def test_a_title_of_one_line(tmp_path: Path) -> None:
    """A title is shown in one line and holds nothing that a terminal would take for a command."""
    assert told(tmp_path, JOB.replace("Sawmill", "Saw\\u001b[2Jmill")) == [
        "job.toml:1: title: holds a line break or another invisible character; write one line"
    ]


def test_a_fit_that_no_family_fits(tmp_path: Path) -> None:
    """An empty list of families would keep every shell out."""
    assert told(tmp_path, JOB + "family = []\n") == [
        'job.toml:8: fit.rod.family: is empty; write a list of families that fit, such as ["narrow-2"], or leave it out'
    ]


def test_a_column_named_twice_in_a_rule(tmp_path: Path) -> None:
    """It counts once, in capitals or not."""
    positions = "position,kind,journal,housing_bore,finish\nR1,rod,1.8162,1.9421,\n"
    job = read_job(write_job(tmp_path, RULES + 'match = ["finish", "Finish"]\n', positions))
    assert job.matched_columns == job.shell_columns == ("finish",)


def test_settings_finer_than_a_nanometre(tmp_path: Path) -> None:
    """Rounding in job.toml is said as it is for cells."""
    (warning,) = read_job(write_job(tmp_path, JOB.replace("0.0022", "0.00220000001"))).warnings
    assert warning.endswith("the first is job.toml: fit.rod.target: `0.00220000001`")


@pytest.mark.parametrize("value", ["0", "-3", "2.5", "4.0", "1e1", "1000001", "9" * 400])
def test_seating_readings_is_a_whole_number(tmp_path: Path, value: str) -> None:
    """Readings are counted: from 1 up, and never a fraction."""
    (mistake,) = told(tmp_path, f"{JOB}seating_u = 0.00001\nseating_readings = {value}\n")
    assert mistake.startswith("job.toml:9: fit.rod.seating_readings: `") and "is not a number of readings; " in mistake


def test_seating_readings_reaches_the_fit(tmp_path: Path) -> None:
    """It is read; without seating_u a warning says that it does nothing; a text is not a number."""
    job = read_job(write_job(tmp_path, f"{JOB}seating_u = 0.00001\nseating_readings = 1_0\n"))
    assert job.fits["rod"].seating_readings == 10 and job.warnings == ()
    alone = read_job(write_job(tmp_path, f"{JOB}seating_readings = 1\n"))
    assert alone.warnings == (
        "job.toml: fit.rod.seating_readings does nothing without seating_u, the uncertainty that came from these "
        "readings; write that too",
    )
    (mistake,) = told(tmp_path, f'{JOB}seating_readings = "4"\n')
    assert mistake == (
        "job.toml:8: fit.rod.seating_readings: is the text `4`, not a number; write a number without quotes"
    )


# --- a point that slipped ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("fit", "told"),
    [
        ("min = 0.0018\nmax = 0.028", "max 0.028 in is more than 0.5 % of the journal"),
        ("min = 0.018\nmax = 0.028", "max 0.028 in is more than 0.5 % of the journal"),
        ("target = 0.022", "target 0.022 in is more than 0.5 % of the journal"),
        ("min = 0.00018\nmax = 0.0028", "max 0.0028 in is more than 10 times min 0.00018 in"),
        ("min = 0.00018\nmax = 0.00028", "max 0.00028 in is less than 0.02 % of the journal"),
        ("target = 0.0022\nmin = 0.00018", "target 0.0022 in is more than 10 times min 0.00018 in"),
        ("target = 0.0015\nmax = 0.0065", "max 0.0065 in is more than 4 times the target 0.0015 in"),
    ],
)
def test_a_point_that_slipped_in_a_limit(tmp_path: Path, fit: str, told: str) -> None:
    """A limit or target ten times too large or too small is no bad input, but it is told once for its kind."""
    job = f'unit = "in"\n[fit.rod]\n{fit}\n'
    assert read_job(write_job(tmp_path, job)).warnings == (
        f"fit.rod: at position R1, journal 1.8162 in: {told}; check digits and unit against the engine maker's figures",
    )


@pytest.mark.parametrize(
    "fit",
    [
        "min = 0.0018\nmax = 0.0028",
        "min = 0.0004\nmax = 0.0024",
        "target = 0.0022\nmin = 0",
        "min = 0.0020\nmax = 0.0060",
        "target_ratio = 0.001",
        "target = 0.0012\nmin = 0.0004",
    ],
)
def test_limits_that_makers_give_are_not_wondered_at(tmp_path: Path, fit: str) -> None:
    """Tight, wide and loose limits as they are published, and limits of which one is left out, draw no warning."""
    assert read_job(write_job(tmp_path / "a", f'unit = "in"\n[fit.rod]\n{fit}\n')).warnings == ()


def test_a_small_journal_may_run_looser(tmp_path: Path) -> None:
    """On a pin of 8 mm a clearance of 0.06 mm is usual, though it is more than half a percent."""
    positions = "position,kind,journal,housing_bore\nR1,rod,8.00,10.05\n"
    shells = "shell,kind,half,wall\n1,rod,upper,1.0\n2,rod,lower,1.0\n"

    def told(name: str, most: str) -> int:
        job = f'unit = "mm"\n[fit.rod]\nmin = 0.02\nmax = {most}\n'
        return len(read_job(write_job(tmp_path / name, job, positions, shells)).warnings)

    assert told("a", "0.06") == 0 and told("b", "0.6") == 1


def test_a_slip_in_a_row_of_positions(tmp_path: Path) -> None:
    """A position's own limit is looked at like that of its kind."""
    positions = "position,kind,journal,housing_bore,max\nR1,rod,1.8162,1.9421,\nR2,rod,1.8161,1.9420,0.028\n"
    (told,) = read_job(write_job(tmp_path, positions=positions)).warnings
    assert told.startswith("fit.rod: at position R2, journal 1.8161 in: max 0.028 in is more than 0.5 % of the journal")
