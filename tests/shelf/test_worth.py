"""What the shelf is worth: shares of what boxes cost, exact, by family and age."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

from made.shelves import BOX, ONE_ROD, Clock, lived_on, planned_job

from fitmatch.report.shelf.texts import engines_text, shown_text
from fitmatch.report.shelf.worth import worth_text
from fitmatch.shelf import (
    Filters,
    Shelf,
    correct,
    engines,
    fitted,
    open_shelf,
    put_back,
    read_planned,
    read_stock,
    scrap,
    set_aside,
    show,
    take_in,
    value,
)
from fitmatch.shelf.answers.worths import Lost


def taken(shelf: Shelf, folder: Path, name: str, opened: str, price: str, family: str = "a") -> None:
    prices = (price, "", "")
    rows = "".join(f"{n},rod,upper,0.061{n},{family},{prices[n]},{opened}\n" for n in range(3))
    path = folder / f"{name}.csv"
    path.write_text(f"shell,kind,half,wall,family,price,opened\n{rows}")
    take_in(shelf, read_stock([path], "in"))


def test_tied_up_by_family_and_age(address: str, tmp_path: Path) -> None:
    """Prices add up in each band of age: today and 90 days ago are in the first, 91 days ago in the second."""
    shelf = open_shelf(address, clock=lambda: datetime(2026, 7, 1, tzinfo=UTC))
    for name, opened, price in (
        ("now", "2026-07-01", "10"),
        ("90", "2026-04-02", "20"),
        ("91", "2026-04-01", "40"),
        ("old", "2020-01-01", ""),
    ):
        taken(shelf, tmp_path, name, opened, price)
    taken(shelf, tmp_path, "other", "2026-07-01", "7.005", family="b")
    found = value(shelf).tied_up
    assert [(t.family, t.older_than_days, t.shells, t.worth_thousandths, t.unpriced) for t in found] == [
        ("a", 0, 6, 30_000, 0),
        ("a", 90, 3, 40_000, 0),
        ("a", 730, 3, 0, 3),
        ("b", 0, 3, 7_005, 0),
    ]
    assert [t.singles for t in found] == [6, 3, 3, 3]


def test_what_was_never_fitted_is_not_counted(shelf: Shelf, tmp_path: Path) -> None:
    """A position of an engine of which `correct` says that it was never fitted counts neither among its positions nor
    among its shells; put right again it does."""
    job = planned_job(tmp_path / "k")
    take_in(shelf, read_stock([job]))
    set_aside(shelf, read_planned(job))
    fitted(shelf, read_planned(job), ["R1"])
    event = fitted(shelf, read_planned(job), ["R2"]).events[0].number
    for count in (1, 2):
        event = correct(shelf, event).events[0].number
        assert [one.shells for one in value(shelf).engines] == [2 * count]
        assert engines_text(engines(shelf), "in").split()[-1] == str(count)
    put_back(shelf, "k", ["R2"])
    assert engines_text(engines(shelf), "in").split()[-1] == "2"


def test_a_box_nobody_dated_has_no_age(address: str, tmp_path: Path) -> None:
    """Without `opened` the age is not known: in `value`, in groups, and to `older_than_days`, as time goes by."""
    clock = Clock()
    shelf = open_shelf(address, clock=clock)
    taken(shelf, tmp_path, "box", "", "10")
    clock.at += timedelta(days=400)
    found = value(shelf)
    assert [(t.older_than_days, t.shells) for t in found.tied_up] == [(None, 3)]
    assert "not known" in worth_text(found, "in")
    assert "not known" in shown_text(show(shelf, by=["age"]), "in")
    assert show(shelf, Filters(older_than_days=90)).shells == ()


def test_thirds_add_up(shelf: Shelf, tmp_path: Path) -> None:
    """Shares are exact until they are shown: of 10 among three shells, one scrapped is 3.333 and the two left 6.667."""
    taken(shelf, tmp_path, "box", "2026-01-01", "10")
    scrap(shelf, "2", "dropped")
    found = value(shelf)
    assert [t.worth_thousandths for t in found.tied_up] == [6_667]
    assert found.lost == (Lost("scrapped", 1, 3_333, 0),)


def test_what_an_engine_cost(shelf: Shelf, tmp_path: Path) -> None:
    """An engine costs the shares of its shells, which are tied up no longer."""
    box = BOX.replace("location", "location,price").replace("drawer 1", "drawer 1,12")
    job = planned_job(tmp_path / "second", ONE_ROD, box)
    take_in(shelf, read_stock([job]))
    set_aside(shelf, read_planned(job))
    assert [(t.shells, t.worth_thousandths) for t in value(shelf).tied_up] == [(6, 12_000)]
    fitted(shelf, read_planned(job))
    found = value(shelf)
    assert [(e.number, e.job, e.shells, e.worth_thousandths) for e in found.engines] == [(1, "second", 2, 4_000)]
    assert [(t.shells, t.worth_thousandths) for t in found.tied_up] == [(4, 8_000)]


def test_sealed_boxes_count_whole(shelf: Shelf, tmp_path: Path) -> None:
    """A sealed box is tied up with its whole price, one that was sent back with nothing, and what has no price is
    counted."""
    lived_on(shelf, tmp_path)
    (found,) = [t for t in value(shelf).tied_up if t.sealed]
    assert (found.sealed, found.worth_thousandths, found.unpriced) == (1, 80_500, found.shells)


def test_nothing_is_worth_nothing(shelf: Shelf) -> None:
    """An empty shelf has no rows."""
    assert value(shelf) == ((), (), ())
    assert value(shelf).to_frame().empty


def test_sealed_boxes_are_rows_of_their_own(address: str, tmp_path: Path) -> None:
    """A sealed box is never counted among opened ones of unknown age: both have a row, the sealed ones last."""
    shelf = open_shelf(address, clock=lambda: datetime(2026, 7, 1, tzinfo=UTC))
    taken(shelf, tmp_path, "undated", "", "12", family="a")
    (tmp_path / "sealed.csv").write_text("part,family,price\nX,a,80\n")
    take_in(shelf, read_stock([tmp_path / "sealed.csv"], "in"))
    for opened in ("", "2026-06-30"):
        if opened:
            taken(shelf, tmp_path, "dated", opened, "30", family="a")
        *rest, undated, sealed = value(shelf).tied_up
        assert [(t.older_than_days, t.shells, t.sealed) for t in rest] == [(0, 3, 0)] * bool(opened)
        assert undated[:6] == ("a", None, 3, 3, 0, 12_000) and sealed[:6] == ("a", None, 0, 0, 1, 80_000)
        rows = [line.split() for line in worth_text(value(shelf), "in").splitlines()]
        assert ["a", "not", "known", "3", "3", "0", "12.00"] in rows and ["a", "sealed", "0", "0", "1", "80.00"] in rows
