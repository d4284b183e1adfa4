"""The picture of `fitmatch boxes`: worst deviation and spread against the number of boxes."""

from typing import TYPE_CHECKING, Final

from fitmatch.lengths import NM_PER_UNIT
from fitmatch.report.boxes.words import (
    LEFT_OUT,
    best_of_each,
    counted,
    drawn_so,
    locked,
    measured_so,
    next_box,
    not_studied,
)
from fitmatch.report.plots.paper import INK, Panel, plain, sheet
from fitmatch.report.shared.layout import clean
from fitmatch.report.shared.scale import Scale, scale_for
from fitmatch.study.boxes.studied import KindStudied, Length, MixStudied, Studied

if TYPE_CHECKING:
    from fitmatch.report.plots.paper import Axes

_MARKS: Final = (("worst deviation", "o"), ("spread", "D"))
_APART: Final = 0.06  # so that the two do not hide each other


def studied_picture(found: Studied, unit: str, ending: str) -> bytes:
    """The file of the picture, always the same for the same answer; its numbers are those of `studied_rows`."""
    scale = scale_for(unit, ())
    notes = [
        f"{counted(found.draws, 'draw')}, seed {found.seed}. {best_of_each(found.mixes)}. Points: means with 95 % "
        "confidence intervals; dashes: what 90 % of the draws do not exceed. No point: some draw leaves a position "
        "empty.",
        *(text for one in found.kinds for text in (locked(one, scale), next_box(one, found, scale)) if text),
        *(text for one in found.kinds for text in drawn_so(one, scale)),
        *not_studied(found, unit),
        measured_so(found),
        LEFT_OUT,
    ]
    panels = [_panel(one, [m for m in found.mixes if m.kind == one.kind], scale) for one in found.kinds]
    return sheet(clean(found.job.title) or "Boxes to open", notes, panels, ending)


def _panel(one: KindStudied, mixes: list[MixStudied], scale: Scale) -> Panel:
    shown = [mix for mix in mixes if mix.best]

    def draw(axes: "Axes") -> None:
        for at, (name, mark) in enumerate(_MARKS):
            figures = [(mix.boxes + _APART * (2 * at - 1), mix.spread if at else mix.worst) for mix in shown]
            _points(axes, figures, name, mark, scale)
        axes.set_xticks([mix.boxes for mix in shown])
        axes.set_ylim(bottom=0)
        axes.set_xlabel("boxes opened" + (", beside those that are open" if one.open_boxes else ""))
        axes.set_ylabel(scale.step)
        axes.legend(fontsize=7)

    return Panel(plain(f"{clean(one.kind)}: {one.positions} positions"), draw)


def _points(axes: "Axes", figures: list[tuple[float, Length]], name: str, mark: str, scale: Scale) -> None:
    per_step = NM_PER_UNIT[scale.step]
    means = [(x, length.mean) for x, length in figures if length.mean is not None]
    axes.errorbar(
        [x for x, _ in means],
        [mean.mean / per_step for _, mean in means],
        yerr=[(mean.half_width or 0.0) / per_step for _, mean in means],
        marker=mark,
        markersize=4,
        color=INK,
        markerfacecolor=INK if mark == "o" else "white",
        linewidth=0.8,
        capsize=2,
        label=name,
    )
    p90 = [(x, length.p90.value / per_step) for x, length in figures if length.p90 is not None]
    axes.plot([x for x, _ in p90], [y for _, y in p90], marker="_", markersize=9, color=INK, linestyle="none")
