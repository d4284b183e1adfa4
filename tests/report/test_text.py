"""The text report: what a machinist must find in it, and that it fits the page."""

import json
import re
from dataclasses import replace

import pytest
from made.jobs import with_found, with_given
from made.plans import (
    ACCEPTED,
    TOO_TIGHT,
    accepted,
    clean_plan,
    nm,
    no_upper_half,
    plan_of,
    position,
    shell,
    size,
    too_tight,
    troubled_plan,
)
from oracles.rulebook import Rules, records

from fitmatch.facts import Fact
from fitmatch.records.answers import plans
from fitmatch.records.answers.doubted import Doubted, doubted
from fitmatch.records.answers.placements import Placement
from fitmatch.records.answers.plans import Baseline, Plan, Proof, Unfilled
from fitmatch.records.job import Job
from fitmatch.records.measuring import Doubt
from fitmatch.records.parts import Fit, Shell
from fitmatch.records.pools import Group
from fitmatch.report.data.document import plan_document
from fitmatch.report.screen.limits_drawn import drawn
from fitmatch.report.shared.layout import WIDTH, Column, columns_taken, page, paragraph, table
from fitmatch.report.text.report import CLOSING, plan_text
from fitmatch.report.words.levels import FIGURES, WORDS


def lines_of(plan: Plan, unit: str = "in") -> list[str]:
    return plan_text(plan, unit).splitlines()


def in_full(plan: Plan, unit: str = "in") -> str:
    return plan_text(plan, unit, full=True)


def unbroken(text: str) -> str:
    """On one line, however the page breaks it."""
    return " ".join(text.split())


def cells_of(plan: Plan, first: str, unit: str = "in") -> list[list[str]]:
    """The cells of every table row of the full report that begins with this word."""
    return [line.split() for line in in_full(plan, unit).splitlines() if line.split()[:1] == [first]]


def with_names(plan: Plan, name: str) -> Plan:
    """The same plan with this string in every name a user can choose."""

    def named(s: Shell) -> Shell:
        return replace(s, name=name + s.name, box=name + s.box, kind=name, hold=s.hold and name)

    def placed(p: Placement) -> Placement:
        there = replace(p.position, name=name + p.position.name, kind=name)
        return replace(p, position=there, upper=named(p.upper), lower=named(p.lower))

    placements = tuple(placed(p) for p in plan.placements)
    unfilled = tuple(
        Unfilled(replace(u.position, name=name + u.position.name, kind=name), no_upper_half(name))
        for u in plan.unfilled
    )
    unmeasured = tuple(replace(p, name=name + p.name, kind=name) for p in plan.plans[0].unmeasured_positions)
    positions = (*(p.position for p in placements), *(u.position for u in unfilled), *unmeasured)
    plan = with_given(
        plan,
        job=replace(
            plan.job, title=name, fits={name: Fit(name)}, positions=positions, shells=tuple(map(named, plan.job.shells))
        ),
        placements=placements,
        unfilled=unfilled,
        flags=(accepted(name, name), too_tight(name)),
    )
    return replace(
        with_found(plan, group=Group(name, name, (0,)), proof=Proof(False, "total_wall_difference", nm("0.0015"))),
        leftover=tuple(named(s) for s in plan.leftover),
        held=tuple(named(s) for s in plan.held),
    )


@pytest.mark.parametrize("unit", ["in", "mm"])
@pytest.mark.parametrize(
    "name",
    [
        "left-hand-bank-of-the-large-engine-",
        "x" * 300,
        "two words and then some more words and again more words than a line can hold ",
        "ポンプ室の発電機" * 4,
        "\x1b[31mred\u202e",
    ],
)
def test_no_line_is_wider_than_the_page(name: str, unit: str) -> None:
    """However long or odd the names, no line is wider than the page and no control character is printed; a page of
    which nothing is known has 100 columns, and none has fewer than 80 or more than 120."""
    plan = with_names(troubled_plan(), name)
    plan = with_given(plan, job=replace(plan.plans[0].job, warnings=(name,)))
    for asked, width in ((None, 100), (1, 80), (80, 80), (91, 91), (120, 120), (400, 120)):
        with page(WIDTH if asked is None else asked):
            for text in (plan_text(plan, unit), in_full(plan, unit)):
                assert max(columns_taken(line) for line in text.splitlines()) <= width
                assert all(c.isprintable() for c in text.replace("\n", ""))


def test_names_are_wrapped_and_never_cut() -> None:
    """Two long names that differ in the last letter only stay different: every letter of them is printed, what the
    boxes have in common once, above the table."""
    box = "opened-in-the-spring-behind-the-lathe-"
    placements = [
        Placement(
            position(f"R{i}", size("1.8162"), size("1.9421")),
            shell(f"shell-with-quite-a-name-{i}", "upper", "0.06185", box=box + "a"),
            shell(f"shell-with-quite-a-name-{i}", "lower", "0.0618", box=box + "b"),
        )
        for i in range(1, 3)
    ]
    lines = lines_of(plan_of(placements))
    top = next(i for i, line in enumerate(lines) if "upper (beam)" in line)
    assert f"boxes: {box}a, -b" in unbroken("\n".join(lines[:top]))
    rows = "\n".join(lines[top + 1 : lines.index("", top)])
    for i in (1, 2):
        assert {f"a/shell-with-quite-a-name-{i}", f"b/shell-with-quite-a-name-{i}"} <= set(rows.split())


def test_lists_are_broken_between_names() -> None:
    """A long list of leftovers is broken between its names, so that every name can be read and searched for."""
    r1, _ = clean_plan().placements
    spares = [shell(f"number-{i}", "upper", "0.0618", box="rods-thick") for i in range(30)]
    text = in_full(plan_of([r1], shells=spares))
    assert all(f"rods-thick/number-{i}" in text for i in range(30))


@pytest.mark.parametrize(
    "other", ["number", "the long one from the shelf behind the door, kept since the spring of last year"]
)
def test_no_name_is_broken_where_a_line_holds_it(other: str) -> None:
    """Names with hyphens and spaces stay whole, also beside one so long that it must be broken itself."""
    r1, r2 = clean_plan().placements
    names = [f"two words-{i}" for i in range(20)]
    spares = [shell(name, "upper", "0.0618", box="rods-thick") for name in (*names, f"{other}-{'x' * 80}")]
    unread = [shell(f"not read-{i}", "lower", None, box="rods-thick") for i in range(9)]
    text = in_full(plan_of([r1, r2], shells=[*spares, *unread], others=[position("R 9", None, None)]))
    assert all(f"rods-thick/{name}" in text for name in names)
    assert all(s.name in text for s in unread)
    assert "R 9" in text and "\u00a0" not in text
    assert max(map(len, text.splitlines())) <= WIDTH


def test_the_users_words_stay_on_one_line() -> None:
    """Line breaks in a hold, a grade or a flag do not break the report, which reads as if they were spaces."""
    r1, r2 = clean_plan().placements
    spares = [
        replace(shell("20", "upper", "0.0618"), hold="dropped\r\non the floor"),
        replace(shell("21", "upper", "0.0618"), grade="blue\nbatch"),
    ]
    plan = with_given(plan_of([r1, r2], shells=spares), flags=(accepted("R2", "\n\nsleeved"),))
    text = in_full(plan)
    flag = "\n".join(paragraph(f"R2: {ACCEPTED}sleeved", first="  ", rest="      "))
    for words in ("dropped on the floor", "blue batch", flag):
        assert words in text


def test_what_is_missing_is_measured_first() -> None:
    """While readings are missing, the first thing to do is to take them, and nothing of the kind is fitted."""
    r1, r2 = clean_plan().placements
    half = plan_of([r1], others=[position("R2", None, None)])
    steps = " ".join(plan_text(half, "in").split("NEXT\n")[1].split("\n\n")[0].split())
    assert steps.startswith("- First take the missing readings") and "fit no shell of rod yet" in steps
    assert "Lay out" not in steps
    whole = plan_text(plan_of([r1, r2]), "in").split("NEXT: ")[1].split("\n\n")[0]
    assert whole == (
        "Lay out the shells as shown, fit them, tighten the caps as the engine maker says, measure\n"
        "  each assembled bore."
    )


def test_what_counts_first_stands_over_the_figures() -> None:
    """The order of what counts is told before the figures; a total too small for one decimal has more."""
    r1, r2 = clean_plan().placements
    hardly = replace(r2.position, min_nm=r2.clearance_nm + 5)
    text = unbroken(in_full(plan_of([r1, replace(r2, position=hardly)])))
    assert text.index("What counts first: most positions filled inside") < text.index("this plan 2 1 (0.002) 0 1 0.5")


def test_the_widest_totals_fit_the_page() -> None:
    """Even metres of shortfall and excess leave the tables within the page."""
    figures = clean_plan().figures["rod"]._replace( filled=99, below=49, above=50, counted=99,
        shortfall_nm=49 * 1_999_999_999, excess_nm=50 * 1_999_999_999,
        worst_deviation_nm=1_999_999_999, spread_nm=3_999_999_998, mean_clearance_nm=1_999_999_999, boxes=99,
    )  # fmt: skip
    for unit in ("in", "mm"):
        for width in (80, 100, 120):
            with page(width):
                text = in_full(with_found(clean_plan(), figures=figures), unit)
            assert max(map(len, text.splitlines())) <= width


def test_twenty_four_positions_keep_file_order_and_width() -> None:
    """A large engine's positions all appear, in file order, within the page."""
    placements = [
        Placement(
            position(f"R{i}", size("1.8162", "1.8161"), size("1.9421", "1.9422")),
            shell(f"{i}", "upper", "0.06185", box="opened-spring"),
            shell(f"{i + 24}", "lower", "0.0618", box="opened-spring"),
        )
        for i in range(1, 25)
    ]
    for width in (80, 100):
        with page(width):
            text = plan_text(plan_of(placements), "in")
        assert max(map(len, text.splitlines())) <= width
        shown = [line.split()[0] for line in text.splitlines() if re.match(r"R\d+ .*spring/", line)]
        assert shown == [f"R{i}" for i in range(1, 25)]


def test_which_shell_goes_where_comes_first() -> None:
    """The first table names the two shells of every position under their sides, each with box and wall, its clearance,
    its signed deviation and where it lies between its limits. What that rests on comes last, and only in full."""
    lines = lines_of(clean_plan())
    at = lines.index("ROD: target 0.00220 in, min 0.00180 in, max 0.00280 in")
    assert re.split("  +", lines[at + 1])[1:] == ["upper (beam)", "lower (cap)", "clearance off", "min target", "max"]
    assert lines[at + 2].split() == [
        "R1", "box-1/03", "0.06185", "box-2/07", "0.06180", "0.00225", "+0.5", "|-----o-------|",
    ]  # fmt: skip
    assert lines[at + 3].split()[6] == "-0.5"
    text = in_full(clean_plan())
    heads = ["upper (beam)", "ROD: proven", "LEFT OVER", "NEXT", "Boxes read", "THE SUMS", "HOW GOOD", "Inputs' digest"]
    assert [text.index(head) for head in heads] == sorted(text.index(head) for head in heads)
    assert "THE SUMS" not in plan_text(clean_plan(), "in") and "HOW GOOD" not in plan_text(clean_plan(), "in")


@pytest.mark.parametrize(
    ("kind", "sides"),
    [
        ("rod", ("upper (beam)", "lower (cap)")),
        ("main", ("upper (block)", "lower (cap)")),
        ("front-mains", ("upper (block)", "lower (cap)")),
    ],
)
def test_each_half_stands_under_its_side(kind: str, sides: tuple[str, str]) -> None:
    """The upper half lies in the beam of a rod and in the block of a main, the lower one in the cap of both."""
    r1, _ = clean_plan().placements
    there = replace(r1.position, kind=kind)
    plan = plan_of(
        [replace(r1, position=there, upper=replace(r1.upper, kind=kind), lower=replace(r1.lower, kind=kind))]
    )
    heads = next(line for line in lines_of(plan) if "upper (" in line)
    assert heads.index(sides[0]) < heads.index(sides[1])


def drawn_at(clearance: str, *, low: str | None = "0.0018", high: str | None = "0.0028", target: str = "0.0022") -> str:
    """What is drawn of a bore with this clearance."""
    r1, _ = clean_plan().placements
    off = nm(clearance) - r1.clearance_nm
    upper = replace(r1.upper, wall_nm=(r1.upper.wall_nm or 0) - off)
    limits = {"min_nm": low and nm(low), "max_nm": high and nm(high), "target_nm": nm(target)}
    return drawn(replace(r1, upper=upper, position=replace(r1.position, **limits)))


def test_where_a_clearance_lies_is_drawn() -> None:
    """Min and max are the ends, the target is marked, and outside a limit the mark lies beyond its end, however little
    it misses; a limit itself is inside, and nothing else is drawn upon it. With one limit the other end is open,
    without any nothing is drawn."""
    assert drawn_at("0.0023", target="0.0023") == "|------o------|"
    assert drawn_at("0.0025") == "|-----:---o---|"
    assert drawn_at("0.0018") == "o-----:-------|" and drawn_at("0.0028") == "|-----:-------o"
    assert drawn_at("0.001801") == "|o----:-------|" and drawn_at("0.002799") == "|-----:------o|"
    assert drawn_at("0.001799") == "X|----:-------|" and drawn_at("0.002801") == "|-----:------|X"
    assert drawn_at("0.0010") == "X|----:-------|"
    assert drawn_at("0.0024", high=None) == "|------:--o----" and drawn_at("0.0030", high=None) == "|------:-----o-"
    assert drawn_at("0.0017", high=None) == "X|-----:-------"
    assert drawn_at("0.0020", low=None) == "-----o-:------|"
    assert drawn_at("0.0029", low=None) == "-------:-----|X"
    assert drawn_at("0.0022", low=None, high=None) == "" == drawn_at("0.0022", low="0.0022", high=None)
    assert len({len(drawn_at(clearance)) for clearance in ("0.0001", "0.0018", "0.0022", "0.0028", "0.0099")}) == 1


def test_the_sum_is_written_out() -> None:
    """Every clearance stands with its housing bore, journal and walls, and its axis shift, in full."""
    assert cells_of(clean_plan(), "R1")[1] == ["R1", "1.94210", "1.81620", "0.12365", "0.00225", "-0.25"]


def test_seating_is_shown_where_it_is_used() -> None:
    """Seating has its place in the sum of a kind that uses it, and none elsewhere."""
    assert cells_of(troubled_plan(), "M1")[1] == ["M1", "2.44100", "2.24800", "0.19080", "+0.00010", "0.00230", "0.00"]
    assert len(cells_of(troubled_plan(), "R1")[1]) == 6
    assert "seating" not in in_full(clean_plan())


def test_the_tightest_clearance_is_shown_where_it_decides() -> None:
    """Where repeated readings make the tightest clearance another than the mean one, both stand between the limits."""
    assert cells_of(troubled_plan(), "R3")[2] == ["R3", "0.00180", "0.00155", "0.00220", "0.00170", "0.00280"]
    assert "BETWEEN THE LIMITS" not in in_full(clean_plan())


def test_limits_that_differ_by_position_are_listed() -> None:
    """Where a row has limits of its own the heading says so and every position's target, min and max are listed."""
    r1, r2 = clean_plan().placements
    own = replace(r2.position, target_nm=nm("0.0021"), max_nm=nm("0.003"), min_nm=None)
    plan = plan_of([r1, replace(r2, position=own)])
    assert "ROD: target by position, min by position, max by position" in lines_of(plan)
    assert cells_of(plan, "R2")[2] == ["R2", "-", "0.00215", "0.00210", "0.00215", "0.00300"]


def test_the_largest_engine_fits_the_page() -> None:
    """The longest plausible figures, off the usual grid and with everything to be shown, fit the page."""
    big = replace(
        position("R1", size("1999.99999", "1999.99998", unit="mm"), size("2000.00000", "1999.99999", unit="mm")),
        target_nm=nm("1.99999", "mm"), seating_nm=-nm("0.19999", "mm"), min_nm=nm("1.99998", "mm"),
    )  # fmt: skip
    shells = [shell(f"{'x' * 40}{half}", half, "24.99999", box="y" * 40, unit="mm") for half in ("upper", "lower")]
    small = replace(clean_plan().placements[0].position, name="R" * 40)
    plan = plan_of([Placement(big, *shells), Placement(small, *shells)], unit="mm", shells=shells)
    for width in (80, 100):
        with page(width):
            text = in_full(plan, "mm")
        assert max(map(len, text.splitlines())) <= width
        assert "2000.00000" in text or "1999.99999" in text


@pytest.mark.parametrize("width", [80, 100, 120])
def test_what_must_not_be_assembled_is_marked_in_its_row_and_explained(width: int) -> None:
    """A position outside its limits carries the mark beside its shells, unbroken, and below it, once, by how much it is
    out, however narrow the page."""
    with page(width):
        text = plan_text(troubled_plan(), "in")
    row = next(line for line in text.splitlines() if line.startswith("R3 "))
    assert row.endswith("NOT TO BE ASSEMBLED") and ("X|----:" in row) == (width > 80)
    flat = unbroken(text)
    assert f"NOT TO BE ASSEMBLED: R3 (rod): {TOO_TIGHT}" in flat
    assert flat.count("the thinnest admissible pair") == flat.count("2.5 tenths") == flat.count("0.00155 in") == 1
    assert "First take the missing readings" in flat and "try another box" not in flat  # a shell may be among them
    assert "thinner shells" not in flat
    assert "NOT TO BE ASSEMBLED" not in plan_text(clean_plan(), "in")


def test_next_proposes_no_walls_of_its_own() -> None:
    """Which shells would do is told with the reasons, which know rules and drawings; what to do next adds none."""
    r1, _ = clean_plan().placements
    plan = plan_of([replace(r1, position=position("R1", size("1.8162"), size("1.9431")))])
    flat = unbroken(plan_text(plan, "in"))
    assert "NOT TO BE ASSEMBLED: R1 (rod) How sure" in flat
    assert "thicker shells" not in flat and "see above what would fix it" in flat


def doubt(item: str, feature: str, code: str = "off", **slots: object) -> Doubt:
    what = Fact(code, {"error_nm": nm("0.025"), **slots})
    return Doubt("positions.csv", 2, item, feature, nm("1.8412"), what, ("thimble-turn",))


@pytest.mark.parametrize(
    ("told", "rows"),
    [
        (doubt("R1", "journal"), ["R1"]),
        (doubt("R2", "housing_bore"), ["R2"]),
        (doubt("box-2/08", "wall"), ["R2"]),
        (doubt("box-1/99", "wall"), []),
        (doubt("R1", "journal", "sitting", of="rod", half=""), ["R1", "R2"]),
    ],
)
def test_a_row_that_rests_on_a_reading_in_doubt_says_so(told: Doubt, rows: list[str]) -> None:
    """A doubt about its journal, its housing bore or a shell placed in it marks the row itself."""
    plan = with_given(clean_plan(), doubts=(told,))
    lines = lines_of(plan)
    table_rows = [line for line in lines if re.match(r"R\d +box", line)]
    assert [line.split()[0] for line in table_rows if line.endswith("IN DOUBT")] == rows
    assert any(line.startswith("  IN DOUBT: ") for line in lines)


def test_doubts_are_looked_up_once_for_a_report(monkeypatch: pytest.MonkeyPatch) -> None:
    """Many parts of a report ask what is in doubt; they all have one answer, as there may be a million shells."""
    looks = []

    def counted(told: list[tuple[Job, tuple[Doubt, ...]]]) -> Doubted:
        looks.append(told)
        return doubted(told)

    monkeypatch.setattr(plans, "doubted", counted)
    in_full(with_given(clean_plan(), doubts=(doubt("box-2/08", "wall"), doubt("R1", "journal"))))
    assert len(looks) == 1


def test_a_wanted_band_is_told_and_what_misses_it() -> None:
    """The heading says which narrower band is wanted; a row inside its limits and outside that says on which side."""
    r1, r2 = clean_plan().placements
    band = {"want_min_nm": nm("0.00220"), "want_max_nm": nm("0.00222")}
    wanted = [replace(p, position=replace(p.position, **band)) for p in (r1, r2)]
    lines = lines_of(plan_of(wanted))
    assert any(line.endswith("max 0.00280 in, wanted from 0.00220 in to 0.00222 in") for line in lines)
    rows = {line.split()[0]: line for line in lines if re.match(r"R\d ", line)}
    assert rows["R1"].endswith("  above wanted") and rows["R2"].endswith("  below wanted")


def test_marks_and_notes_stand_with_their_row() -> None:
    """What a position asks for that others of its kind do not, a lock, and the user's note stand beside the row; on a
    narrow page below the table. What all positions of the kind share marks none."""
    r1, r2 = clean_plan().placements
    thrust = replace(
        r1.position, wants_upper=("yes", "a"), wants_lower=("yes", "a"), note="takes the thrust", lower=r1.lower.key
    )
    plain = replace(r2.position, wants_upper=("", "a"), wants_lower=("", "a"))
    plan = plan_of([replace(r1, position=thrust), replace(r2, position=plain)])
    plan = with_given(plan, job=replace(plan.job, matched_columns=("flange", "finish")))
    with page(120):
        wide = lines_of(plan)
    row = next(i for i, line in enumerate(wide) if line.startswith("R1 "))
    assert wide[row].endswith("|-----o-------|  flange, lower locked, takes the thrust")
    assert wide[row + 1].endswith("|----o:-------|")
    with page(80):
        narrow = lines_of(plan)
    row = next(i for i, line in enumerate(narrow) if line.startswith("R1 "))
    assert narrow[row].endswith("|-----o-------|  *") and not narrow[row + 1].endswith("*")
    assert narrow[row + 2] == "* R1: flange, lower locked, takes the thrust"
    assert "finish" not in "".join(wide + narrow)


@pytest.mark.parametrize(
    "words",
    [
        "6 positions: 3 filled inside the limits, 1 NOT TO BE ASSEMBLED, 1 not filled, 1 not yet measured.",
        "NOT FILLED: R4 (rod): the housing bore 1.94300 in is above its drawing limits, 1.94150 in to 1.94250 in:",
        "NOT YET MEASURED: R5 (rod): no reading of journal",
        "NOT YET MEASURED: shells of box-1 (rod): no wall of 13",
        f"R2: {ACCEPTED}sleeved and bored",
        "ROD: NOT PROVEN: stopped at the worst deviation from target, which cannot be less than 0.5 tenths.",
        "MAIN: proven",
        "Drawn from: box-1, box-2.",
        "rod upper 2 2 0.06190 to 0.06195 box-1/10 0.06190, box-1/11 0.06195",
        "rod lower - 1 0.06180 box-1/12 0.06180",
        "Held, not used: box-1/14 (rod, lower): scratched by the wash",
        "M1 0.00030 none 0.00230 0.00260",
        "this plan 3 1 (2.5) 0 2 0.5 1.0 0.00220 2 -",
        "as-boxed 3 1 (2.5) 0 2 0.5 1.0 0.00220 2 1",
        "by-hand 3 1 (2.5) 0 2 0.5 1.0 0.00220 2 1",
        "First take the missing readings, write them in and run this again.",
        "As it stands, fit no shell of rod yet: another box or reading may change them all.",
        "Lay out the shells as shown (main), fit them, tighten the caps as the engine maker says, measure",
        "Boxes read: box-1 (rod 5 upper, 3 lower), box-2 (rod 3 lower), mains (main 1 upper, 1 lower).",
        "Rules in force: wall_difference 0.0006 in; limits_at tightest.",
    ],
)
def test_every_trouble_is_told(words: str) -> None:
    """In full: counts, reasons, missing readings, flags, proof, figures, leftovers, held shells and coatings."""
    assert words in unbroken(in_full(troubled_plan()))


@pytest.mark.parametrize(
    "words",
    [
        "6 positions: 3 filled inside the limits, 1 NOT TO BE ASSEMBLED, 1 not filled, 1 not yet measured.",
        "R2 box-1/04 0.06185 box-2/08 0.06190 0.00215 -0.5 |----o:-------| see below",
        "R4 NOT FILLED R5 NOT YET MEASURED",
        "Coated: the clearances above are over the coating; to the metal M1 0.00260.",
        "NOT FILLED: R4 (rod): the housing bore 1.94300 in is above its drawing limits, 1.94150 in to 1.94250 in:",
        "NOT YET MEASURED: shells of box-1 (rod): no wall of 13",
        f"R2: {ACCEPTED}sleeved and bored",
        "NOT PROVEN: rod: a better choice may exist",
        "ROD: NOT PROVEN: stopped at the worst deviation from target, which cannot be less than 0.5 tenths; "
        "worst 0.5, spread 1.0 tenths over 2 of 5 positions; worst by hand 0.5 with 1 outside the limits, breaking 1 "
        "rule, as boxed 0.5 with 1 outside the limits, breaking 1 rule.",
        "MAIN: proven; worst 1.0, spread 0.0 tenths; worst by hand 1.0 breaking 1 rule, as boxed 1.0 breaking 1 rule.",
        "LEFT OVER: 3 shells, upper + lower: box-1 2 + 1.",
        "HELD, not used: box-1/14 (scratched by the wash).",
        "First take the missing readings, write them in and run this again.",
        "How sure the clearances are is not known: job.toml tells nothing of the gauges.",
        "Inputs' digest: 0123abcd",
    ],
)
def test_the_screen_holds_what_changes_what_the_builder_does(words: str) -> None:
    """The short report marks every row that is not to be followed as it stands, says why, how far each kind is proven,
    what is left over and held, and what to do next."""
    assert words in unbroken(plan_text(troubled_plan(), "in"))


def test_a_kind_that_is_not_whole_is_not_begun() -> None:
    """Where a position of a kind is bad, empty or not measured, or a reading in doubt, the very heading of its table
    says to fit none of its shells yet; another kind that is whole says nothing of it."""
    lines = lines_of(troubled_plan())
    limits = "target 0.00220 in, min 0.00180 in, max 0.00280 in"
    assert f"ROD: fit none of these yet; {limits}" in lines and f"MAIN: {limits}" in lines
    doubted = with_given(clean_plan(), doubts=(doubt("R1", "journal"),))
    assert f"ROD: fit none of these yet; {limits}" in lines_of(doubted)
    assert "All 2 positions filled, inside the limits, but 1 rests on a reading in doubt." in lines_of(doubted)


@pytest.mark.parametrize("doubted", [False, True])
def test_a_shell_left_over_keeps_nobody_waiting(doubted: bool) -> None:
    """A shell in no position that is in doubt or not yet measured may lead to a better choice and makes the one shown
    no worse: the heading forbids nothing, NEXT says what it is about, and the exit status tells of it."""
    r1, _ = clean_plan().placements
    plan = plan_of([r1], shells=[shell("9", "upper", "0.0618" if doubted else None)])
    plan = with_given(plan, doubts=(doubt("box-1/9", "wall"),) if doubted else ())
    lines, words = lines_of(plan), unbroken(plan_text(plan, "in"))
    assert "ROD: target 0.00220 in, min 0.00180 in, max 0.00280 in" in lines and plan.needs_attention
    assert "Fitting may begin: the rod readings that are missing or in doubt are of shells left over; reading" in words
    assert "Lock the shells fitted by then. - Lay out the shells as shown, fit them" in words
    assert "fit no" not in words and "First take" not in words and "Before anything else" not in words


def test_a_kind_without_a_filled_position_is_one_line() -> None:
    """Where nothing of a kind is filled there is no table of dashes."""
    r1, _ = clean_plan().placements
    mains = [position(f"M{i}", None, None, kind="main") for i in range(1, 6)]
    lines = lines_of(plan_of([r1], others=mains))
    at = lines.index("MAIN: target 0.00220 in, min 0.00180 in, max 0.00280 in")
    assert lines[at + 1 : at + 3] == ["  No position is filled: see NEEDS ATTENTION.", ""]
    assert not any(set(line.split()[1:]) == {"-"} for line in lines)


def test_warnings_stand_in_the_report() -> None:
    """What was noticed while the files were read stands near the top of the report, whole; without any there is no
    such part."""
    plan = clean_plan()
    told = with_given(plan, job=replace(plan.plans[0].job, warnings=("shells/old.csv is not read", "two\nlines")))
    lines = lines_of(told)
    at = lines.index("WARNINGS")
    assert lines[at + 1 : at + 3] == ["  shells/old.csv is not read", "  two lines"] and at < 6
    assert "WARNINGS" not in lines_of(plan)


def test_leftovers_are_counted_by_box_and_half() -> None:
    """Each box with what is left of its halves; a box of two kinds tells them apart; of very many boxes the rest is
    counted together, and of many held shells how many each box holds."""
    r1, _ = clean_plan().placements
    spares = [
        shell("1", "upper", "0.0618", box="a"), shell("2", "upper", "0.0618", box="a"),
        shell("3", "lower", "0.0618", box="a"), shell("4", "either", "0.0618", box="b"),
        shell("5", "upper", "0.0618", box="c"), shell("6", "lower", "0.0954", box="c", kind="main"),
    ]  # fmt: skip
    text = unbroken(plan_text(plan_of([r1], shells=spares), "in"))
    assert "LEFT OVER: 6 shells, upper + lower: a 2 + 1; b 1 either; c rod 1 + 0; c main 0 + 1." in text
    many = [shell("1", "upper", "0.0618", box=f"box-{i}") for i in range(100, 120)]
    text = unbroken(plan_text(plan_of([r1], shells=many), "in"))
    assert "LEFT OVER: 20 shells, upper + lower: box-100 1 + 0; -101 1 + 0;" in text and "; 8 more boxes 8 + 0." in text
    held = [replace(shell(str(i), "upper", "0.0618"), hold="dropped") for i in range(9)]
    text = unbroken(plan_text(plan_of([r1], shells=held), "in"))
    assert "LEFT OVER: no shell." in text and "HELD, not used: 9 shells, upper + lower: box-1 9 + 0." in text


def test_a_way_of_choosing_that_fills_nothing_inside_says_so() -> None:
    """Where as-boxed or by-hand leaves no position inside its limits that is said in words; where every one is locked
    there was nothing to choose."""
    plan = clean_plan()
    none = plan.figures["rod"]._replace(counted=0, worst_deviation_nm=None, below=2)
    others = {"by-hand": Baseline(none), "as-boxed": Baseline(none._replace(below=0), 1)}
    told = unbroken(plan_text(with_found(plan, baselines=others), "in"))
    assert "; worst by hand none inside, as boxed nothing to choose breaking 1 rule." in told


def test_where_the_limits_come_from_is_told() -> None:
    """What `limits_from` says stands over the table, also where nothing is filled, and in the document."""
    plan = clean_plan()
    fits = {"rod": Fit("rod", limits_from="engine manual, p. 12")}
    plan = with_given(plan, job=replace(plan.plans[0].job, fits=fits))
    assert "max 0.00280 in; limits: engine manual, p. 12 upper (beam)" in unbroken(plan_text(plan, "in"))
    kinds = json.loads(plan_document(plan, "in"))["kinds"]
    assert kinds["rod"]["limits_from"] == "engine manual, p. 12"
    assert "limits_from" not in json.loads(plan_document(clean_plan(), "in"))["kinds"]["rod"]


def test_one_box_that_would_do_is_named() -> None:
    """Where the shells of one box alone would give as good a worst deviation the line of proof says so."""
    plan = clean_plan()
    (rod,) = plan.groups
    told = unbroken(plan_text(replace(plan, groups=(rod._replace(one_box=("box-1", "box-2")),)), "in"))
    assert "; box-1 or box-2 alone would do as well, with the same worst." in told
    assert "alone would" not in plan_text(plan, "in")


def test_locked_halves_are_marked() -> None:
    """A position that the user locked a shell in says which half is locked; no other row does."""
    r1, r2 = clean_plan().placements
    lower = replace(r1, position=replace(r1.position, lower=r1.lower.key))
    both = replace(r2, position=replace(r2.position, upper=r2.upper.key, lower=r2.lower.key))
    rows = {line.split()[0]: line for line in lines_of(plan_of([lower, r2])) if re.match(r"R\d ", line)}
    assert rows["R1"].endswith("  lower locked") and "locked" not in rows["R2"]
    rows = {line.split()[0]: line for line in lines_of(plan_of([r1, both])) if re.match(r"R\d ", line)}
    assert rows["R2"].endswith("|  locked") and "locked" not in rows["R1"]


def test_rules_in_force_are_listed() -> None:
    """Every rule that binds stands in one sentence with its value to the last digit, in the unit shown."""
    rules = Rules(
        wall_difference_nm=nm("0.0006"), thick_half={"rod": "upper"}, same_in_bore=("series",), limits_at="mean",
        guard=0.5,
    )  # fmt: skip
    plan = clean_plan()
    found = records(rules, ("flange",), ("flange", "series"))
    asking = tuple(replace(p, wants_upper=("",), wants_lower=("",)) for p in plan.job.positions)
    plan = with_given(plan, job=replace(plan.job, rules=found, matched_columns=("flange",), positions=asking))
    flat = unbroken(in_full(plan, "mm"))
    assert "drawn in by a guard of 0.5" in unbroken(plan_text(plan, "mm"))
    assert (
        "Rules in force: wall_difference 0.01524 mm; thick_half rod upper, from 0.00508 mm; same_in_bore series; "
        "match flange; limits_at mean; guard 0.5." in flat
    )
    none = with_given(plan, job=replace(plan.job, rules=records(Rules(wall_difference_nm=None)), matched_columns=()))
    assert "Rules in force: wall_difference off; limits_at tightest." in in_full(none).splitlines()


@pytest.mark.parametrize(
    ("strategy", "slack", "words"),
    [
        ("target", "0", "does better: none equal in what counts first has a smaller worst deviation."),
        ("target", "0.0001", "has a smaller worst deviation by more than the slack of 0.00010 in."),
        ("even", "0", "does better: none equal in what counts first has a smaller spread."),
        ("even", "0.0001", "Slack: the spread may be up to 0.00010 in larger than the smallest possible."),
        ("keep-sets", "0", "from as few boxes, and none from fewer has the smallest possible worst deviation."),
        (
            "keep-sets",
            "0.0001",
            "does better from as few boxes, and none from fewer is within the slack of 0.00010 in of the smallest",
        ),
    ],
)
def test_what_a_proof_means(strategy: str, slack: str, words: str) -> None:
    """The proof says what it is a proof of: nearest, most even, or from as few boxes, and with which slack."""
    plan = replace(clean_plan(), strategy=strategy, slack_nm=nm(slack))
    assert words in unbroken(in_full(plan))
    by = "" if strategy == "target" else f" by strategy {strategy}"
    assert f"ROD: proven{by}; worst 0.5, spread 1.0 tenths" in plan_text(plan, "in")


def test_a_target_in_the_middle_says_so() -> None:
    """Where nobody wrote a target the heading says that it is the middle of min and max; a target that was written and
    happens to lie there is a target like any other."""
    r1, r2 = clean_plan().placements
    written = replace(r1.position, target_nm=nm("0.0023"))
    assert "the middle" not in plan_text(plan_of([replace(r1, position=written)]), "in")
    between = replace(written, aims_at_middle=True)
    middle = plan_of([replace(r1, position=between)])
    assert "ROD: target 0.00230 in (the middle), min 0.00180 in, max 0.00280 in" in lines_of(middle)
    both = plan_of([replace(r1, position=between), r2])
    assert "the middle" not in plan_text(both, "in")


def test_boxes_left_with_broken_sets_are_named() -> None:
    """A box whose remaining uppers and lowers do not pair is named with its counts, a box of pairs is not; a shell of
    either half makes up for one that is lacking, and a shell not yet measured is still in its box."""
    r1, _ = clean_plan().placements
    spares = [
        shell("20", "upper", "0.0618"), shell("21", "lower", "0.0618"),
        shell("30", "upper", "0.0618", box="box-3"), shell("31", "upper", "0.0618", box="box-3"),
        shell("32", "lower", None, box="box-3"),
        shell("40", "upper", "0.0618", box="box-4"), shell("41", "either", "0.0618", box="box-4"),
    ]  # fmt: skip
    text = in_full(plan_of([r1], shells=spares))
    line = next(line for line in text.splitlines() if line.startswith("Halves left"))
    assert line == "Halves left without a partner in their box: box-3: rod 2 upper, 1 lower."


def test_the_report_ends_with_what_decides() -> None:
    """Short or in full, it ends by saying that the assembled bore decides and that the makers' limits come first, and
    with the digest of the files that it rests on."""
    for plan in (clean_plan(), troubled_plan()):
        for text in (plan_text(plan, "in"), in_full(plan)):
            assert unbroken(text).endswith(f"{CLOSING} Inputs' digest: 0123abcd")
    assert "the assembled bore" in CLOSING and "maker's limits come before" in CLOSING


def test_figures_that_do_not_exist_are_dashes() -> None:
    """A kind without a counted position has no worst deviation, spread or mean; where nothing is filled there is no
    table of figures, and the report says that nothing can be filled."""
    bad = troubled_plan().placements[2]
    assert ["this", "plan", "1", "1", "(2.5)", "0", "0", "-", "-", "-", "2", "-"] in cells_of(plan_of([bad]), "this")
    plan = plan_of([], others=[position("R1", size("1.8162"), size("1.9421"))], unfilled={"R1": no_upper_half()})
    assert "ROD: proven: with these readings no position can be filled." in lines_of(plan)
    assert cells_of(plan, "this") == []


def test_without_baselines_none_are_explained() -> None:
    """A plan that carries no baselines shows its own figures only."""
    text = in_full(with_found(clean_plan(), baselines={}))
    assert "this plan" in text and "by-hand" not in text and "as-boxed" not in text
    assert "ROD: proven; worst 0.5, spread 1.0 tenths.\n" in text


def test_millimetres_and_micrometres() -> None:
    """Another unit shows the same clearances in mm and deviations in um; off the 0.0001 mm grid one decimal is added,
    so that the sum still adds up to the last figure."""
    assert cells_of(clean_plan(), "R1", "mm")[0][2:7] == ["1.57099", "box-2/07", "1.56972", "0.05715", "+1.3"]
    metric = Placement(
        replace(
            position("R1", size("46.132", unit="mm"), size("49.330", unit="mm")),
            target_nm=nm("0.056", "mm"), min_nm=nm("0.046", "mm"), max_nm=nm("0.070", "mm"),
        ),
        shell("1", "upper", "1.571", unit="mm"),
        shell("2", "lower", "1.570", unit="mm"),
    )  # fmt: skip
    plan = plan_of([metric], unit="mm")
    assert cells_of(plan, "R1", "mm")[0][2:7] == ["1.5710", "box-1/2", "1.5700", "0.0570", "+1.0"]
    assert cells_of(plan, "R1", "mm")[1][-1] == "-0.5"


def test_columns_without_room_go_below_by_the_same_names() -> None:
    """A table of figures that is wider than the page is told in two, no line too wide and nothing left out."""
    heads = [f"figure {i:02}" for i in range(14)]
    columns = [Column[str]("", lambda row: row, "left"), *(Column[str](head, lambda _: "1") for head in heads)]
    lines = table(["one", "other"], *columns)
    assert max(map(len, lines)) <= WIDTH
    assert sum(line.startswith("one") for line in lines) == 2
    assert [word for line in lines for word in re.findall(r"figure \d+", line)] == heads


def test_every_level_of_the_proof_has_words() -> None:
    """Whatever level the solver may be stopped at, the report knows what it is and what its bound is a bound of."""
    from fitmatch.fit.model import order

    defined = [value for value in vars(order).values() if isinstance(value, order.Figure)]
    assert {figure.name for figure in (*defined, *order.LEVEL_1, *order.WISH)} == set(WORDS) == set(FIGURES)
    counted_up = {order.ENGINES, order.INSIDE, order.FILLED, order.STAYING, order.CLEARANCE, order.PREFERRED}
    assert {figure for figure in FIGURES.values() if figure.more} == counted_up


@pytest.mark.parametrize(
    ("level", "bound", "words"),
    [
        ("positions_inside", 3, "positions inside their limits, which cannot be more than 3."),
        ("sum_squared_deviation", 2 * 2540**2, "cannot be less than 2.0 tenths squared."),
        ("total_clearance", 25_400, "total clearance, which cannot be more than 10.0 tenths."),
        ("spread", None, "stopped at the spread."),
        (None, None, "NOT PROVEN: stopped early."),
    ],
)
def test_bounds_in_words(level: str | None, bound: int | None, words: str) -> None:
    """A bound is shown as the count, length or length squared that it is, and in the direction it binds."""
    plan = with_found(clean_plan(), proof=Proof(False, level, bound))
    assert words in unbroken(in_full(plan))
    assert words.removesuffix(".") + ";" in unbroken(plan_text(plan, "in"))


def test_the_same_plan_gives_the_same_text() -> None:
    """Two reports of one plan for pages of one width are equal to the byte."""
    for width in (80, 117):
        with page(width):
            assert in_full(troubled_plan()) == in_full(troubled_plan())
