"""The sheet that pictures are drawn on: a title, panels beside each other, and below them what the figures rest on.

Everything is drawn in black, grey and white, and told apart by marks, strokes and hatching. The same figures give the
same bytes.
"""

from collections.abc import Callable, Sequence
from importlib.util import find_spec
from io import BytesIO
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from fitmatch.problems import ExtraMissing
from fitmatch.report.shared.layout import wrapped

if TYPE_CHECKING:
    from matplotlib.axes import Axes as Axes

ENDINGS: Final = (".svg", ".png")
INK: Final = "black"
PALE: Final = "0.7"

_COLUMNS: Final = 2
_MANY: Final = 8  # panels: more stand three beside each other
_PANEL_IN: Final = (5.2, 3.1)  # width and height
_LINE_IN: Final = 0.14  # of a note, in the small print
_TITLE_IN: Final = 0.2  # of a line of the title
_LETTERS: Final = 175  # of a note on one line of a sheet with two columns
_LARGE_LETTERS: Final = 100  # of the title
_STYLE: Final[Any] = {
    "font.size": 8.0,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "legend.frameon": False,
    "svg.fonttype": "none",  # text stays text
    "svg.hashsalt": "fitmatch",
}


class Panel(NamedTuple):
    """One diagram: its title, and what draws it."""

    title: str
    draw: Callable[["Axes"], None]


def check_extra() -> None:
    """Raise ExtraMissing where matplotlib is not installed; does not load it."""
    if find_spec("matplotlib") is None:
        raise ExtraMissing("pictures", "matplotlib", "plots")


def sheet(title: str, notes: Sequence[str], panels: Sequence[Panel], ending: str) -> bytes:
    """The picture as a file of this kind; raises ExtraMissing as `check_extra` does."""
    check_extra()
    from matplotlib import rc_context
    from matplotlib.figure import Figure
    from matplotlib.layout_engine import ConstrainedLayoutEngine

    columns = min(_COLUMNS + (len(panels) > _MANY), len(panels))
    rows = -(-len(panels) // columns)
    small = [line for note in notes for line in wrapped(note, _LETTERS * columns // _COLUMNS)]
    large = wrapped(title, _LARGE_LETTERS * columns // _COLUMNS) or [""]
    above, below = _TITLE_IN * (len(large) + 0.75), _LINE_IN * (len(small) + 1)
    width, height = _PANEL_IN[0] * columns, _PANEL_IN[1] * rows + below + above
    with rc_context(_STYLE):
        room = (0.0, below / height, 1.0, 1.0 - (below + above) / height)
        figure = Figure(figsize=(width, height), layout=ConstrainedLayoutEngine(rect=room, h_pad=0.08, w_pad=0.08))
        figure.text(0.01, 1.0 - 0.1 / height, plain("\n".join(large)), fontsize=10, fontweight="bold", va="top")
        figure.text(0.01, 0.05 / height, plain("\n".join(small)), fontsize=6.5, va="bottom", linespacing=1.35)
        for axes, panel in zip(figure.subplots(rows, columns, squeeze=False).flat, panels, strict=False):
            axes.set_title(plain(panel.title), fontsize=9, loc="left")
            panel.draw(axes)
        for axes in figure.axes[len(panels) :]:
            axes.set_axis_off()
        out = BytesIO()
        # No date: the same figures give the same file.
        metadata = {"Date": None, "Title": title} if ending == ".svg" else {"Software": None, "Title": title}
        figure.savefig(out, format=ending.removeprefix("."), dpi=200, metadata=metadata)
    return out.getvalue()


def legend_beside(axes: "Axes") -> None:
    """The legend to the right of a diagram, where it covers nothing."""
    axes.legend(loc="upper left", bbox_to_anchor=(1.0, 1.0), fontsize=7, handlelength=3)


def plain(text: str) -> str:
    """The user's own text: a dollar sign would begin a formula."""
    return text.replace("$", r"\$")
