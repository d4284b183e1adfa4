"""Which module may import which: only those that come before it in the one order of all modules given here.

So there are no circles, not even inside a function or for types alone. Slow libraries are imported in the function that
needs them. Exits 1 and names every import that breaks a rule, and every module missing from the order, or listed
without need.
"""

import ast
import sys
from collections.abc import Iterator
from fnmatch import fnmatch
from pathlib import Path

PACKAGE = Path(__file__).resolve().parent.parent / "fitmatch"
# A folder and modules of it, a line each; a folder whose modules need some of its own folders has more than one line.
ORDER = """
.: version stages facts wording names lengths problems
records: ask keys measuring parts
records/study: oils bearings stacks unopened
records/shelf: shelved stock
records: job housings pools
records/answers: placements doubted plans
rules: of_kind
rules/one_half: family holds match min_wall
rules/two_halves: same_in_bore thick_half wall_difference
rules: in_force
rules/positions: guard limits_at movable drawing in_rows locks
rules: registry
gauging/sizes: materials places corrections hot form form_limits sizing
gauging/uncertainty: student variance_ratio scatter sources drawn_errors combining error_model judging
gauging/causes: grinds digits mistakes
gauging/doubts: groups scatter differences explanations series odd repeats boxes sessions naming check
gauging: bench_path zeroing noted assembled bench_check
intake/common: catalogue files findings advice quantities options sweeps running texts iso_286 bands
intake/tables: table csv_file workbook opening columns
intake/job_toml: globbing keys key_rows strange_keys values fits instruments running unopened settings unread sources
intake/saved: saved_plan shared_plan saved_figures
intake/rows: sheet positions shells long_file assembled targets stock_rows
intake/together: all_shells copies supplied cross_checks
intake: own_files reading sharing_the_shelf pooling planned stacks film_limits bearings stock exported torn_down
intake/writing: locking whole_files workbooks log_rows appending new_box rewriting learning saving
fit/solver: stopping program adapter
fit/classes: guards axis_rows demands classes candidates
fit/model: order job_rows pairs naming moved_housings groups variants
fit/proof/field: pair_sources at_sight relaxations settling near_plans few_seats
fit/proof: search box_sets several_jobs windows smallest_spread filling levels few_pairs
fit/why: arithmetic questions cures conflicts
fit/answer: checker expected baselines strays kernel exchanges stopped one_box best_plan saved
fit/beside: regions next_values alternatives explanations
fit: assign
study/film: reynolds equilibrium films
study/comparison: compared certainties leftover_sets decision plans targets let_go boxes trade_off compare
study/advice: advised solving changes at_the_bench halves metal grinding orders advise
study/drawings: shapes sums ranges
study/workers: working crews resuming
study/boxes: scatter steps mixes noise draws intervals studied summing_up boxes
shelf: refusals
shelf/answers: frames shells engines worths sets
shelf/store: schema addresses faults connections migrating opening
shelf/store/migrations/versions: v0001 v0002
shelf: events finding gauges built_engines
shelf/jobs: holders planned supplying with_shells_in
shelf/questions: describing looking built forming worth
shelf/actions: taking_in setting_aside fitting handling counting correcting tearing_down archiving
report/shared: emit scale states layout box_names axis certainty grounds housings readings
report/words: phrases small_reasons reasons refusals levels doubts likely_causes with_shells_in stacks films advice
report/screen: limits_drawn sure table proven left_over attention heading
report/further: positions beside measuring remaining explaining quality full
report/text: doubts assembled ranges films report advice
report/comparison: rows plans summary films further report
report/shelf: words data torn_down texts worth
report/boxes: words texts data
report/data: values rows doubts document assembled films film_frames compared ranges advised workbooks
report/sheet: source amounts drawings assembly figures record leftovers cards page engine
report/plots: paper clearances compared advised distribution films
report/boxes: picture
cli: exit_codes lazy
cli/shared: console options solving saving pictures workbooks workers
cli/shelf: opened stock holding handling looking forming copying main
cli/bench: entries typed answers sitting measure
cli/job: blank new check assign sheet assembled
cli/study: compare advise boxes range film
cli: main
.: __main__
"""
# Loaded inside the function that needs them, so that `--help` starts at once; some are known to few modules alone.
LATE = {
    *(
        "alembic",
        "distributed",
        "jinja2",
        "markupsafe",
        "matplotlib",
        "numpy",
        "openpyxl",
        "pandas",
        "platformdirs",
        "psycopg",
    ),
    *("scipy",),
}
ONLY_IN = {
    "distributed": ("study/workers/crews.py",),
    "jinja2": ("report/sheet/page.py",),
    "matplotlib": ("report/plots/paper.py",),
    "ortools": ("fit/solver/adapter.py",),
    "openpyxl": ("intake/tables/workbook.py", "intake/writing/workbooks.py"),
    "sqlalchemy": ("shelf/*",),
    "tabulate": ("report/shared/layout.py",),
}


def places() -> dict[str, int]:
    """The place of every module in the order, by its path without an ending."""
    lines = (line.partition(": ") for line in ORDER.strip().splitlines())
    names = [f"{folder}/{name}".removeprefix("./") for folder, _, modules in lines for name in modules.split()]
    assert len(names) == len(set(names)), "a module is in the order twice"
    return {name: place for place, name in enumerate(names)}


def imports(tree: ast.Module) -> Iterator[tuple[str, int, bool]]:
    """Every imported module with its line and whether it is imported at once, when the file is loaded."""
    late = {id(n) for f in ast.walk(tree) if isinstance(f, ast.FunctionDef) for n in ast.walk(f)}
    checking = {
        id(n)
        for i in ast.walk(tree)
        if isinstance(i, ast.If) and "TYPE_CHECKING" in ast.unparse(i.test)
        for n in ast.walk(i)
    }
    for node in ast.walk(tree):
        at_once = id(node) not in late | checking
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield alias.name, node.lineno, at_once
        elif isinstance(node, ast.ImportFrom) and node.module:
            path = PACKAGE.parent / node.module.replace(".", "/")
            for alias in node.names:
                inside = (path / f"{alias.name}.py").exists()
                yield f"{node.module}.{alias.name}" if inside else node.module, node.lineno, at_once


def main() -> int:
    """Check every module of the package."""
    place = places()
    broken = []
    for path in sorted(PACKAGE.rglob("*.py")):
        where = path.relative_to(PACKAGE).as_posix()
        mine = where.removesuffix(".py")
        face = where in ("__init__.py", "shelf/__init__.py")  # what users import: they may name everything
        if path.name != "__init__.py" and mine not in place:
            broken.append(f"fitmatch/{where}: give it a place in ORDER of .ci/layers.py")
        for module, line, at_once in imports(ast.parse(path.read_text(encoding="utf-8"))):
            top, _, rest = module.partition(".")
            theirs = rest.replace(".", "/")
            if top == "fitmatch" and not face and not place.get(theirs, len(place)) < place.get(mine, -1):
                broken.append(f"fitmatch/{where}:{line}: {module} does not come before it in ORDER of .ci/layers.py")
            if top in LATE and at_once:
                broken.append(f"fitmatch/{where}:{line}: import {top} inside the function that needs it")
            if top in ONLY_IN and not any(fnmatch(where, known) for known in ONLY_IN[top]):
                broken.append(f"fitmatch/{where}:{line}: only {' and '.join(ONLY_IN[top])} may know {top}")
    gone = [name for name in place if not (PACKAGE / f"{name}.py").exists()]
    broken += [f"fitmatch/{name}.py: is in ORDER of .ci/layers.py and nowhere else" for name in gone]
    print("\n".join(broken) or f"import rules hold in {len(place)} modules")
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())
