"""The shelf: opened boxes and single halves that stay right for years.

    shelf = fitmatch.shelf.open_shelf("shelf.db")     # or a URL; otherwise FITMATCH_DB, or the user's own
    fitmatch.shelf.take_in(shelf, fitmatch.shelf.read_stock(["my-build"]))
    fitmatch.shelf.show(shelf).to_frame()             # one row per shell
    fitmatch.shelf.set_aside(shelf, fitmatch.shelf.read_planned("my-build", shelf))

Names are loaded on first use. What is refused raises `RefusedError`, and then nothing has changed.
"""

TYPE_CHECKING = False  # type checkers take it for the one of `typing`

if TYPE_CHECKING:
    from fitmatch.intake.stock import read_stock as read_stock
    from fitmatch.intake.torn_down import read_measured_again as read_measured_again
    from fitmatch.shelf.actions.archiving import export as export
    from fitmatch.shelf.actions.archiving import import_ as import_
    from fitmatch.shelf.actions.correcting import correct as correct
    from fitmatch.shelf.actions.counting import count as count
    from fitmatch.shelf.actions.fitting import fitted as fitted
    from fitmatch.shelf.actions.handling import move as move
    from fitmatch.shelf.actions.handling import release as release
    from fitmatch.shelf.actions.handling import scrap as scrap
    from fitmatch.shelf.actions.handling import send_back as send_back
    from fitmatch.shelf.actions.setting_aside import put_back as put_back
    from fitmatch.shelf.actions.setting_aside import set_aside as set_aside
    from fitmatch.shelf.actions.taking_in import take_in as take_in
    from fitmatch.shelf.actions.tearing_down import teardown as teardown
    from fitmatch.shelf.built_engines import engine as engine
    from fitmatch.shelf.built_engines import engines as engines
    from fitmatch.shelf.jobs.planned import read_planned as read_planned
    from fitmatch.shelf.jobs.supplying import read_supplied as read_supplied
    from fitmatch.shelf.jobs.supplying import read_supplied_jobs as read_supplied_jobs
    from fitmatch.shelf.jobs.with_shells_in import read_assembled as read_assembled
    from fitmatch.shelf.questions.forming import Pattern as Pattern
    from fitmatch.shelf.questions.forming import sets as sets
    from fitmatch.shelf.questions.looking import Filters as Filters
    from fitmatch.shelf.questions.looking import history as history
    from fitmatch.shelf.questions.looking import show as show
    from fitmatch.shelf.questions.worth import value as value
    from fitmatch.shelf.refusals import HeldError as HeldError
    from fitmatch.shelf.refusals import RefusedError as RefusedError
    from fitmatch.shelf.store.connections import Shelf as Shelf
    from fitmatch.shelf.store.opening import open_shelf as open_shelf

_HOME = {
    "Filters": "fitmatch.shelf.questions.looking",
    "HeldError": "fitmatch.shelf.refusals",
    "Pattern": "fitmatch.shelf.questions.forming",
    "RefusedError": "fitmatch.shelf.refusals",
    "Shelf": "fitmatch.shelf.store.connections",
    "correct": "fitmatch.shelf.actions.correcting",
    "count": "fitmatch.shelf.actions.counting",
    "engine": "fitmatch.shelf.built_engines",
    "engines": "fitmatch.shelf.built_engines",
    "export": "fitmatch.shelf.actions.archiving",
    "fitted": "fitmatch.shelf.actions.fitting",
    "history": "fitmatch.shelf.questions.looking",
    "import_": "fitmatch.shelf.actions.archiving",
    "move": "fitmatch.shelf.actions.handling",
    "open_shelf": "fitmatch.shelf.store.opening",
    "put_back": "fitmatch.shelf.actions.setting_aside",
    "read_assembled": "fitmatch.shelf.jobs.with_shells_in",
    "read_measured_again": "fitmatch.intake.torn_down",
    "read_planned": "fitmatch.shelf.jobs.planned",
    "read_stock": "fitmatch.intake.stock",
    "read_supplied": "fitmatch.shelf.jobs.supplying",
    "read_supplied_jobs": "fitmatch.shelf.jobs.supplying",
    "scrap": "fitmatch.shelf.actions.handling",
    "release": "fitmatch.shelf.actions.handling",
    "send_back": "fitmatch.shelf.actions.handling",
    "set_aside": "fitmatch.shelf.actions.setting_aside",
    "sets": "fitmatch.shelf.questions.forming",
    "show": "fitmatch.shelf.questions.looking",
    "take_in": "fitmatch.shelf.actions.taking_in",
    "teardown": "fitmatch.shelf.actions.tearing_down",
    "value": "fitmatch.shelf.questions.worth",
}

__all__ = [
    "Filters",
    "HeldError",
    "Pattern",
    "RefusedError",
    "Shelf",
    "correct",
    "count",
    "engine",
    "engines",
    "export",
    "fitted",
    "history",
    "import_",
    "move",
    "open_shelf",
    "put_back",
    "read_measured_again",
    "read_planned",
    "read_stock",
    "read_supplied",
    "read_supplied_jobs",
    "release",
    "scrap",
    "send_back",
    "set_aside",
    "sets",
    "show",
    "take_in",
    "teardown",
    "value",
]


def __getattr__(name: str) -> object:
    if name not in _HOME:
        raise AttributeError(f"module 'fitmatch.shelf' has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(_HOME[name]), name)
