"""A comparison as pictures: clearances, plans side by side, figures against the target, and what is traded off."""

from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, Final

from fitmatch.lengths import NM_PER_UNIT
from fitmatch.report.comparison.films import cautions, how_it_runs, outside_limits, without_films
from fitmatch.report.comparison.further import near_limits
from fitmatch.report.comparison.rows import alike, by_kind, jobs_told, trade_offs
from fitmatch.report.comparison.summary import kinds_of_jobs
from fitmatch.report.plots.clearances import clearances
from fitmatch.report.plots.paper import INK, PALE, Panel, legend_beside, plain, sheet
from fitmatch.report.shared.grounds import grounds
from fitmatch.report.shared.layout import clean
from fitmatch.report.shared.scale import NOTHING, Scale, scale_for
from fitmatch.report.shared.states import DANGER
from fitmatch.report.words.films import COMPARES, thickness
from fitmatch.study.comparison.compared import Compared, PlanFilms, PlanRow, Point, TargetRow

_MOST_MARKS: Final = 60  # more would hide the line

if TYPE_CHECKING:
    from fitmatch.report.plots.paper import Axes


def compared_picture(compared: Compared, unit: str, ending: str) -> bytes:
    """All of it on one sheet, as a file of this kind; its numbers are those of `compared_rows`."""
    scale = scale_for(unit, ())
    together = alike(compared)
    panels = [
        _bars(
            f"{clean(kind)}: jobs side by side, by strategy {compared.strategy}",
            rows,
            scale,
            lambda row: jobs_told(together[row.found.job, row.found.kind]),
        )
        for kind, rows in kinds_of_jobs(compared).items()
    ]
    panels += _clearances(compared, unit)
    panels += [
        _bars(f"{told}: ways of choosing side by side", rows, scale, lambda row: row.plan)
        for told, rows in by_kind(compared, compared.plans)
    ]
    panels += [_films(told, rows) for told, rows in by_kind(compared, compared.plans) if rows[0].films is not None]
    panels += [_targets(told, rows, scale) for told, rows in by_kind(compared, compared.targets or ())]
    panels += [_trade_off(told, rows, scale) for told, rows in trade_offs(compared)]
    title = "; ".join(job.title or job.folder.name for job in compared.jobs)
    notes = ["The sweep of targets is by strategy target."] if compared.targets else []
    for told, rows in by_kind(compared, compared.targets or ()):
        notes += [f"{told}: {text}" for text in near_limits([row for row in rows if row.best], scale)]
    notes += [*grounds(compared.job_plans, scale)]
    if compared.films:
        notes += [f"NEEDS ATTENTION (x): {text}" for text in cautions(compared)]
        notes += [clean(text) for text in outside_limits(compared)]
        notes += [*without_films(compared), *how_it_runs(compared, unit), COMPARES]
    return sheet(title, notes, panels, ending)


def _clearances(compared: Compared, unit: str) -> Iterator[Panel]:
    """By position, for every kind of which something is filled; of jobs that are alike in it once."""
    together = alike(compared)
    for job, answer in zip(compared.names or ("",), compared.answers, strict=True):
        for one in answer.plans:
            for kind in one.job.kinds:
                names = together.get((job, kind), (job,))
                told = jobs_told(names if job else (one.job.name,))
                if one.of_kind(kind) and job == names[0]:
                    yield clearances(
                        f"{told}, {clean(kind)}" if told else clean(kind), one, kind, unit, answer.strategy
                    )


def _bars(title: str, rows: Sequence[PlanRow], scale: Scale, name: Callable[[PlanRow], str]) -> Panel:
    """Worst deviation and spread of each row, written beside their bars."""

    def draw(axes: "Axes") -> None:
        worst = [row.found.figures.worst_deviation_nm for row in rows]
        spread = [row.found.figures.spread_nm for row in rows]
        for figure, values, aside, fill, hatch in (
            ("worst", worst, -0.2, PALE, ""),
            ("spread", spread, 0.2, "white", "////"),
        ):
            sizes = [_steps(nm, scale) or 0.0 for nm in values]
            places = [at + aside for at in range(len(rows))]
            bars = axes.barh(
                places, sizes, height=0.36, color=fill, hatch=hatch, edgecolor=INK, linewidth=0.7, label=figure
            )
            axes.bar_label(bars, [scale.steps(nm) for nm in values], padding=2, fontsize=7)
        axes.set_yticks(range(len(rows)), [_way(name(row), row) for row in rows])
        axes.invert_yaxis()
        axes.margins(x=0.12)
        axes.set_xlabel(scale.step)
        legend_beside(axes)

    return Panel(title, draw)


def _way(name: str, row: PlanRow) -> str:
    """The name, and how many positions count in none of the figures: outside their limits, or not filled."""
    outside, unfilled = row.found.figures.below + row.found.figures.above, row.found.unfilled
    told = [f"{outside} outside"] * bool(outside) + [f"{unfilled} not filled"] * bool(unfilled)
    return plain(f"{name},\n{', '.join(told)}" if told else name)


def _films(told: str, rows: Sequence[PlanRow]) -> Panel:
    """The thinnest film of each way of choosing, and beside the bars where it is, and how warm the warmest is."""

    def draw(axes: "Axes") -> None:
        films = [row.films for row in rows if row.films is not None]
        bars = axes.barh(
            range(len(rows)), [max(some.edge_film_thickness_um or 0.0, 0.0) for some in films], height=0.5, color=PALE,
            edgecolor=INK, linewidth=0.7,
        )  # fmt: skip
        axes.bar_label(bars, [_of_films(some) for some in films], padding=2, fontsize=7)
        axes.set_yticks(range(len(rows)), [row.plan for row in rows])
        axes.invert_yaxis()
        axes.set_xlim(0.0, 1.6 * max(axes.get_xlim()[1], 0.0))  # room for what stands beside the bars
        axes.set_xlabel(
            "thinnest film, um, of a slope the tighter end;\nbeside it the warmest film and the power of all"
        )

    return Panel(f"{told}: steady oil films at the calculated clearances", draw)


def _of_films(films: PlanFilms) -> str:
    doubted = "x " if films.cautions else ""
    if films.thinnest is None:
        return f"{doubted}no figure" if films.rows else NOTHING
    warm = "" if films.effective_temperature_c is None else f", {films.effective_temperature_c:.1f} °C"
    at = plain(clean(films.thinnest_at or ""))
    danger = f"\n{DANGER}" if films.thinnest.bearing.within_limits is False else ""
    film = thickness(films.edge_film_thickness_um)
    return f"{doubted}{film} at {at}{warm}, {films.friction_power_w:.0f} W{danger}"


def _targets(told: str, rows: Sequence[TargetRow], scale: Scale) -> Panel:
    """Worst deviation and spread against the target, the best of them marked."""

    def draw(axes: "Axes") -> None:
        x = [row.target_nm / NM_PER_UNIT[scale.unit] for row in rows]
        worst = [_steps(row.found.figures.worst_deviation_nm, scale) for row in rows]
        spread = [_steps(row.found.figures.spread_nm, scale) for row in rows]
        few = len(rows) <= _MOST_MARKS
        axes.plot(x, _drawn(worst), color=INK, marker="o" if few else "", markersize=3, label="worst deviation")
        axes.plot(x, _drawn(spread), color=INK, linestyle="--", marker="s" if few else "", markersize=3,
                  markerfacecolor="white", label="spread")  # fmt: skip
        for at, row in zip(x, rows, strict=True):
            if row.best:
                axes.axvline(at, color=PALE, linestyle=":", zorder=0)
                chance = "" if row.joint_chance is None else f"\nchance inside {row.joint_chance:.2f}"
                aside = at > (x[0] + x[-1]) / 2  # no further right: there is the legend
                axes.annotate(
                    f"best{chance}", (at, axes.get_ylim()[1]), (-2 if aside else 2, -2), textcoords="offset points",
                    fontsize=7, va="top", ha="right" if aside else "left",
                )  # fmt: skip
        axes.set_ylim(bottom=0.0)
        axes.locator_params(axis="x", nbins=6)
        axes.set_xlabel(f"target, {scale.unit}")
        axes.set_ylabel(scale.step)
        legend_beside(axes)

    return Panel(f"{told}: worst deviation and spread by target", draw)


def _trade_off(told: str, rows: Sequence[Point], scale: Scale) -> Panel:
    """The points that none beats in both; hollow where not proven."""
    against = rows[0].against

    def draw(axes: "Axes") -> None:
        for row in rows:
            figures = row.found.figures
            x = float(figures.boxes) if against == "boxes" else _steps(figures.spread_nm, scale)
            y = _steps(figures.worst_deviation_nm, scale)
            if x is not None and y is not None:
                face = INK if row.found.proof.proven else "white"
                axes.plot([x], [y], "o", color=INK, markerfacecolor=face, markersize=5)
                axes.annotate(
                    scale.steps(figures.worst_deviation_nm), (x, y), (4, 4), textcoords="offset points", fontsize=7
                )
        axes.margins(0.15)
        axes.set_ylim(0.0, 1.15 * max(axes.get_ylim()[1], 0.0))
        axes.set_xlim(0.0, max(axes.get_xlim()[1], 0.0))
        if against == "boxes":
            axes.set_xticks(range(1, max(row.found.figures.boxes for row in rows) + 1))
        axes.set_xlabel("boxes drawn from" if against == "boxes" else f"spread, {scale.step}")
        axes.set_ylabel(f"worst deviation, {scale.step}")

    return Panel(f"{told}: worst deviation against {against}", draw)


def _steps(nm: int | None, scale: Scale) -> float | None:
    return None if nm is None else nm / NM_PER_UNIT[scale.step]


def _drawn(values: Sequence[float | None]) -> list[float]:
    """What is missing leaves a gap."""
    return [float("nan") if value is None else value for value in values]
