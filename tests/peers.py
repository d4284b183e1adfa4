"""How good fitmatch is beside everything else that could choose shells: all peers on the same lots, for equal time.

    python tests/peers.py                    every lot, a table on standard output
    python tests/peers.py --cases 7,13       only lots of these numbers of positions
    python tests/peers.py --rewrite          and puts what was measured into docs/peers.md and its picture

What was measured is kept in tests/data/peers.csv, where `--cases` leaves the other lots as they are. Run it with the
Python that has fitmatch and its extra `peers` installed. Every peer has a process of its own and the same processor
time, after which the system ends it. It asserts nothing: numbers are for people to read.
"""

import argparse
import csv
import sys
from collections.abc import Iterable, Iterator, Sequence
from functools import partial
from itertools import groupby
from operator import attrgetter
from typing import NamedTuple

from benchmark import ROOT, rewrite
from ways import grading, own, plain_model, searching
from ways.lots import OFF_GRID_NM, ON_GRID_NM, PLENTY, SIZES, lot
from ways.racing import FIGURES, Peer, Result, race

SECONDS = 5
KEPT = ROOT / "tests" / "data" / "peers.csv"
PEERS: dict[str, Peer] = {
    "as-boxed": own.boxed,
    "by-hand": own.hand,
    "bins of equal width": partial(grading.by_bins, grading.equal_width),
    "bins of equal probability": partial(grading.by_bins, grading.equal_probability),
    "genetic search": searching.genetic,
    "SciPy's annealing": searching.annealing,
    "annealing by swaps": searching.by_swaps,
    "plain model, CP-SAT": plain_model.cp_sat,
    "plain model, HiGHS": plain_model.highs,
    "fitmatch": partial(own.fitmatch, SECONDS),
}
PROVERS = ("plain model, CP-SAT", "plain model, HiGHS", "fitmatch")
NONE = "not in the time given"


class Row(NamedTuple):
    """What one peer reached on one lot; `worst_nm` and all after it are None where it had no plan in time."""

    positions: int
    pairs: int
    grid_nm: int
    peer: str
    broken: int | None = None
    outside: int | None = None
    worst_nm: int | None = None
    squares_nm2: int | None = None
    spread_nm: int | None = None
    leftover_sets: int | None = None
    reached_ms: int | None = None
    worst_ms: int | None = None  # when each figure was proven
    squares_ms: int | None = None
    spread_ms: int | None = None

    @property
    def lot(self) -> tuple[int, int, int]:
        return self.positions, self.pairs, -self.grid_nm

    def is_of(self, plenty: bool, grid_nm: int) -> bool:
        """Whether it is of such a lot."""
        return self.grid_nm == grid_nm and (self.pairs == PLENTY * self.positions) == plenty

    @property
    def quality(self) -> tuple[float, ...]:
        """What decides between two plans; the smaller is the better."""
        found = self.broken, self.outside, self.worst_nm, self.squares_nm2, self.spread_nm
        return tuple(float("inf") if figure is None else figure for figure in found)


def measured(sizes: Sequence[int]) -> Iterator[Row]:
    """Every peer on every lot of these numbers of positions, scarce and plenty, on the grid and off it."""
    small = lot(min(SIZES), plenty=False, grid_nm=ON_GRID_NM)
    for peer in PEERS.values():
        if peer not in (searching.genetic, searching.annealing, searching.by_swaps):  # these would never end
            peer(small, lambda plan, proven="": None)  # slow libraries are loaded before anything is timed
    for positions in sizes:
        for plenty in (False, True):
            for grid_nm in (ON_GRID_NM, OFF_GRID_NM):
                some = lot(positions, plenty=plenty, grid_nm=grid_nm)
                for name, peer in PEERS.items():
                    row = _row(Row(positions, len(some.uppers), grid_nm, name), race(peer, some, SECONDS))
                    print(*row, file=sys.stderr)
                    yield row


def _row(of: Row, result: Result) -> Row:
    found = result.figures
    if found is None:
        return of
    proven = {f"{what}_ms": round(1_000 * result.proven[what]) for what in FIGURES if what in result.proven}
    return of._replace(
        broken=found.broken,
        outside=found.outside,
        worst_nm=found.worst_nm,
        squares_nm2=found.squares_nm2,
        spread_nm=found.spread_nm,
        leftover_sets=result.leftover_sets,
        reached_ms=round(1_000 * result.reached_s),
        **proven,
    )


# --- what is kept ----------------------------------------------------------------------------------------------------


def kept() -> list[Row]:
    """The rows measured last, of every lot."""
    if not KEPT.exists():
        return []
    with KEPT.open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    return [Row(**{k: v if k == "peer" else int(v) if v else None for k, v in row.items()}) for row in rows]


def keep(rows: Iterable[Row]) -> None:
    with KEPT.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerows([Row._fields, *rows])


def merged(old: Sequence[Row], new: Sequence[Row]) -> list[Row]:
    """The old rows with those of the lots measured anew replaced, lot by lot."""
    fresh = {row.lot for row in new}
    return sorted([*(row for row in old if row.lot not in fresh), *new], key=attrgetter("lot"))


# --- what is shown ---------------------------------------------------------------------------------------------------


def summary(rows: Sequence[Row]) -> list[str]:
    """For each peer on how many lots its plan is the best that anybody found, and is proven."""
    lots = [list(some) for _, some in groupby(rows, attrgetter("lot"))]
    lines = [
        f"| peer, {len(lots)} lots | best plan of all | smallest worst deviation | no plan in the time | proven |",
        "| --- " * 5 + "|",
    ]
    for name in PEERS:
        mine = [(next(row for row in some if row.peer == name), some) for some in lots]
        best = sum(_is_best(row, some) for row, some in mine)
        worst = sum(row.quality[:3] == min(other.quality[:3] for other in some) for row, some in mine)
        none = sum(row.worst_nm is None for row, _ in mine)
        proven = str(sum(row.spread_ms is not None for row, _ in mine)) if name in PROVERS else "-"
        lines.append(f"| {name} | {best} | {worst} | {none} | {proven} |")
    return lines


def _is_best(row: Row, some: Sequence[Row]) -> bool:
    return row.worst_nm is not None and row.quality == min(other.quality for other in some)


def tables(rows: Sequence[Row]) -> list[str]:
    """A table for each lot."""
    lines = []
    for (positions, pairs, grid), some in groupby(rows, attrgetter("lot")):
        read = "read to 0.5 µm" if -grid == ON_GRID_NM else "sizes to 1 nm"
        lines += [
            f"### {positions:,} positions, {pairs:,} shells of each half, {read}",
            "",
            "| peer | outside | worst, µm | sum of squares, µm² | spread, µm | leftover sets | after, s | proof, s |",
            "| --- " * 8 + "|",
            *_lines(list(some)),
            "",
        ]
    return lines[:-1]


def _lines(some: Sequence[Row]) -> Iterator[str]:
    for row in some:
        if row.worst_nm is None:
            yield f"| {row.peer} | {NONE} |" + " |" * 6
            continue
        name = f"**{row.peer}**" if _is_best(row, some) else row.peer
        figures = [f"{row.worst_nm / 1e3:.3f}", f"{row.squares_nm2 / 1e6:.4g}", f"{row.spread_nm / 1e3:.3f}"]
        cells = [name, str(row.outside), *figures, f"{row.leftover_sets:,}", _s(row.reached_ms), _proof(row)]
        yield f"| {' | '.join(cells)} |"


def _s(ms: int) -> str:
    return f"{ms / 1_000:.2f}"


def _proof(row: Row) -> str:
    if row.peer not in PROVERS:
        return "-"
    if row.spread_ms is not None:
        return _s(row.spread_ms)
    if row.squares_ms is not None:
        return f"all but the spread {_s(row.squares_ms)}"
    return NONE if row.worst_ms is None else f"only the worst {_s(row.worst_ms)}"


def picture(rows: Sequence[Row]) -> bytes:
    """How the worst deviation and the time to the proof grow with the number of positions."""
    from matplotlib.axes import Axes

    from fitmatch.report.plots.paper import Panel, legend_beside, sheet

    marks = dict(zip(PEERS, "v^<>dDsPXo", strict=True))

    def line(axes: Axes, name: str, points: Sequence[tuple[float, float]]) -> None:
        ours = name == "fitmatch"
        axes.plot(
            *zip(*points, strict=True),
            label=name,
            marker=marks[name],
            color="black" if ours else "0.55",
            linewidth=1.6 if ours else 0.7,
            markersize=5 if ours else 4,
            zorder=3 if ours else 2,
        )

    def panel(title: str, plenty: bool, grid_nm: int, value: str, unit: float, names: Iterable[str]) -> Panel:
        def draw(axes: Axes) -> None:
            for name in names:
                mine = [row for row in rows if row.peer == name and row.is_of(plenty, grid_nm)]
                found = [(row.positions, getattr(row, value)) for row in mine]
                points = [(positions, figure / unit) for positions, figure in found if figure is not None]
                if points:
                    line(axes, name, points)
            axes.set_xscale("log")
            axes.set_xlim(SIZES[0] / 1.5, SIZES[-1] * 1.5)
            axes.set_xticks(SIZES, [f"{size:,}" for size in SIZES])
            axes.minorticks_off()
            axes.set_xlabel("positions")
            if value == "worst_nm":
                axes.set_yscale("symlog", linthresh=0.1)
                axes.set_ylim(bottom=0)
                axes.set_ylabel("worst deviation, µm")
            else:
                axes.set_yscale("log")
                axes.axhline(SECONDS, color="black", linewidth=0.5, linestyle=":")
                axes.set_ylabel("proof of all three figures, s")
            legend_beside(axes)

        return Panel(title, draw)

    lots = [
        ("scarce, read to 0.5 µm", False, ON_GRID_NM),
        ("scarce, sizes to 1 nm", False, OFF_GRID_NM),
        ("plenty, read to 0.5 µm", True, ON_GRID_NM),
        ("plenty, sizes to 1 nm", True, OFF_GRID_NM),
    ]
    panels = [panel(f"Worst deviation: {title}", *which, "worst_nm", 1e3, PEERS) for title, *which in lots]
    panels += [panel(f"Time to proof: {title}", *which, "spread_ms", 1e3, PROVERS) for title, *which in lots]
    note = f"Dotted: the {SECONDS} s of processor time that every peer has. No mark: not in that time."
    return sheet("fitmatch and its peers", [note], panels, ".svg")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cases", default=",".join(map(str, SIZES)), help="numbers of positions, with commas")
    parser.add_argument("--rewrite", action="store_true", help="put what was measured into docs/peers.md")
    options = parser.parse_args()
    new = list(measured([int(size) for size in options.cases.split(",") if size]))
    print("\n".join(tables(new)))
    if options.rewrite:
        rows = merged(kept(), new)
        keep(rows)
        rewrite("summary", summary(rows), "peers.md")
        rewrite("peers", tables(rows), "peers.md")
        (ROOT / "docs" / "peers.svg").write_bytes(picture(rows))


if __name__ == "__main__":
    main()
