"""Complete sets that can be formed again."""

from typing import TYPE_CHECKING, NamedTuple

from fitmatch.shelf.answers.frames import framed

if TYPE_CHECKING:
    import pandas


class SetBore(NamedTuple):
    """A bore of a set with its two shells, by shelf number and BOX/NAME."""

    position: str
    upper: int
    upper_label: str
    lower: int
    lower_label: str
    wall_sum_nm: int
    clearance_nm: int | None  # None in a pattern


class OneSet(NamedTuple):
    """A set that can be re-formed. `spread_nm`: between its loosest and its tightest bore, measured from their targets;
    in a pattern between its wall sums. `worst_deviation_nm`: None in a pattern."""

    spread_nm: int
    worst_deviation_nm: int | None
    bores: tuple[SetBore, ...]
    proven: bool


class KindSets(NamedTuple):
    """The sets of one kind, or of a pattern's family. `most`: so many at once; there may be more if `capped`, and if it
    is not `proven`."""

    kind: str
    pairs: int
    shells: int
    most: int
    capped: bool
    proven: bool
    sets: tuple[OneSet, ...]


class Sets(NamedTuple):
    """The sets of every kind."""

    kinds: tuple[KindSets, ...]

    @property
    def proven(self) -> bool:
        return all(one.proven and all(some.proven for some in one.sets) for one in self.kinds)

    def to_frame(self, unit: str = "in") -> "pandas.DataFrame":
        """One row for each bore of each set."""
        found = [(kind.kind, n, b) for kind in self.kinds for n, one in enumerate(kind.sets, 1) for b in one.bores]
        frame = framed((bore for _, _, bore in found), unit)
        frame.insert(0, "set", [number for _, number, _ in found])
        frame.insert(0, "kind", [kind for kind, _, _ in found])
        return frame
