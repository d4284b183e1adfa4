"""Which module may import which: layers only look down, and the slow libraries wait until a function needs them.

Exits 1 and names every import that breaks a rule.
"""

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

PACKAGE = Path(__file__).resolve().parent.parent / "fitmatch"
# A module may import from its own layer and from those before it.
LAYERS = [
    "lengths",
    "naturalorder",
    "stages",
    "facts",
    "problems",
    "ask",
    "measuring",
    "parts",
    "pools",
    "placements",
    "plans",
    "housings",
    "rules",
    "intake",
    "gauging",
    "fit",
    "shelf",
    "study",
    "report",
    "cli",
]
# Loaded inside the function that needs them, so that `--help` starts at once; the solver lives in one module.
LATE = {"openpyxl", "pandas", "numpy", "scipy"}
ONLY_IN = {"ortools": "fit/solve.py", "openpyxl": "intake/workbook.py", "tabulate": "report/layout.py"}


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
            yield node.module, node.lineno, at_once


def main() -> int:
    broken = []
    for path in sorted(PACKAGE.rglob("*.py")):
        where = path.relative_to(PACKAGE).as_posix()
        mine = where.split("/")[0].removesuffix(".py")
        for module, line, at_once in imports(ast.parse(path.read_text(encoding="utf-8"))):
            top, _, rest = module.partition(".")
            if rest and top == "fitmatch" and mine in LAYERS:  # `fitmatch` alone is the version, open to all
                theirs = rest.split(".")[0]
                if theirs not in LAYERS or LAYERS.index(theirs) > LAYERS.index(mine):
                    broken.append(f"fitmatch/{where}:{line}: {mine} may not import {module}")
            if top in LATE and at_once:
                broken.append(f"fitmatch/{where}:{line}: import {top} inside the function that needs it")
            if top in ONLY_IN and where != ONLY_IN[top]:
                broken.append(f"fitmatch/{where}:{line}: only fitmatch/{ONLY_IN[top]} knows {top}")
    print("\n".join(broken) or f"import rules hold in {len(list(PACKAGE.rglob('*.py')))} modules")
    return 1 if broken else 0


sys.exit(main())
