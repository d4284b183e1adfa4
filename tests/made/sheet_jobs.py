"""Engines of any size for the sheet: names as long and as hostile as the files allow, in both units, with all there is
to tell of a shell."""

from pathlib import Path
from typing import Final

# Accepted by the reader as names or texts, and able to harm a page or a style sheet that takes them as they are.
HOSTILE: Final = (
    "<script>alert(1)<",
    '"><img src=x onerror=alert(1)>',
    "';}*{display:none}</style>",
    "{{ 7*7 }}{% raw %}",
    "&lt;b&gt;&amp;",
    "javascript:alert(1)",
    "\\000041 } body { color: red",
    "]]>--!><!--",
)
_SIZES: Final = {
    "in": {"rod": (1.8162, 1.9421, 0.06185), "main": (2.2480, 2.4410, 0.09540)},
    "mm": {"rod": (46.132, 49.330, 1.571), "main": (57.099, 62.001, 2.423)},
}
_STEP: Final = {"in": 0.0001, "mm": 0.002}
_PLACES: Final = {"in": 5, "mm": 4}
LIMITS: Final = {"in": {"min": 0.0014, "max": 0.0034}, "mm": {"min": 0.035, "max": 0.086}}
GAUGES: Final = {
    "in": "[gauge.mic-1]\nresolution = 0.0001\nlimit = 0.0001\nrepeatability = 0.00005\n",
    "mm": "[gauge.mic-1]\nresolution = 0.002\nlimit = 0.002\nrepeatability = 0.001\n",
}
MEASURED: Final = "".join(
    f'[measured.{kind}]\njournal = "mic-1"\nhousing_bore = "mic-1"\nwall = "mic-1"\n' for kind in ("rod", "main")
)


def engine(
    folder: Path,
    *,
    rods: int,
    mains: int,
    unit: str = "in",
    long: str = "",
    title: str = "An engine",
    note: str = "",
    record: str = "",
    gauges: bool = True,
    more: str = "",
    turn: int = 0,
) -> Path:
    """A job folder, with other walls for another `turn`; `long` stands in every name, `note` beside every position and,
    as a part, on every shell."""
    (folder / "shells").mkdir(parents=True)
    limits = LIMITS[unit]
    text = f"title = {_toml(title)}\nunit = {_toml(unit)}\n"
    for kind in ("rod", "main"):
        text += f"[fit.{kind}]\nmin = {limits['min']}\nmax = {limits['max']}\n"
        text += 'limits_from = "engine manual, p. 12"\n'
    text += (GAUGES[unit] + MEASURED if gauges else "") + more
    text += f"[record]\nengine = {_toml(record)}\n" if record else ""
    (folder / "job.toml").write_text(text, encoding="utf-8")
    positions = [["position", "kind", "journal", "housing_bore", "pin", "note"]]
    for kind, count in (("rod", rods), ("main", mains)):
        journal, bore, wall = _SIZES[unit][kind]
        shells = [["shell", "kind", "half", "wall", "part", "step", "family"]]
        for at in range(1, count + 1):
            off = (at * 7 % 5 - 2) * _STEP[unit]
            name = f"{kind[0].upper()}{at}{long}"
            pin = str((at + 1) // 2) if kind == "rod" else ""
            positions.append([name, kind, _number(journal + off, unit), _number(bore - off / 2, unit), pin, note])
            for half in ("upper", "lower"):
                for extra in range(2):
                    thick = wall + ((at * 3 + turn) % 4 - 2 + extra) * _STEP[unit] / 2
                    shell = f"{half[0]}{at}{'ab'[extra]}{long}"
                    shells.append([shell, kind, half, _number(thick, unit), note, "0.25" if extra else "", long])
        _write(folder / "shells" / f"{kind}s.csv", shells)
    _write(folder / "positions.csv", positions)
    return folder


def _number(value: float, unit: str) -> str:
    return f"{value:.{_PLACES[unit]}f}"


def _toml(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


def _write(path: Path, rows: list[list[str]]) -> None:
    import csv

    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(rows)
