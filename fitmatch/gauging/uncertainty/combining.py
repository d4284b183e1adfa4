"""Independent terms added up to one uncertainty, by the GUM (JCGM 100:2008)."""

from math import floor, sqrt
from typing import NamedTuple

from fitmatch.gauging.uncertainty.student import t_quantile


class Term(NamedTuple):
    """One independent term of an uncertainty. Terms that name the same `gauge` come from one and the same standard
    deviation."""

    name: str
    standard_nm: float
    degrees_of_freedom: int | None = None
    gauge: str | None = None


class Uncertainty(NamedTuple):
    """Of one clearance. `degrees_of_freedom` None is infinite; `expanded_nm` covers 95 %.

    If something is `unknown` the figures are a lower bound, and nothing may be judged by them. `apart_nm`, of a
    tightest clearance only: it may be too small by anything up to this, only because it comes from the largest and the
    smallest of several places whose readings scatter. It is in `expanded_nm`, not in `standard_nm`.
    """

    standard_nm: float
    degrees_of_freedom: int | None
    expanded_nm: float
    terms: tuple[Term, ...]
    unknown: tuple[str, ...] = ()
    apart_nm: float = 0.0

    @property
    def lower_bound(self) -> bool:
        return bool(self.unknown)


def of_change(before: Uncertainty | None, after: Uncertainty | None) -> Uncertainty | None:
    """The uncertainty of what a size has lost from one day to another: gauges are set anew, so that no error of one day
    cancels one of the other. None: too little is known."""
    if before is None or after is None or before.unknown or after.unknown:
        return None
    days = (("before", before), ("after", after))
    return combine([Term(name, one.standard_nm, one.degrees_of_freedom) for name, one in days])


def combine(terms: list[Term], unknown: tuple[str, ...] = (), apart_nm: float = 0.0) -> Uncertainty | None:
    """Independent terms as one uncertainty (GUM 5.1.2, G.4.1, G.6.4); None if nothing at all is known.

    The degrees of freedom are those of Welch and Satterthwaite, rounded down to a whole number; terms of one gauge's
    scatter are one term in them. U is the smallest that covers the clearance whether all of `apart_nm` is due to
    scatter or none of it: then it is two-sided, or that far off and one-sided (F.2.4.5).
    """
    if not terms and unknown:
        return None
    variance = sum(t.standard_nm**2 for t in terms)
    alike: dict[str, float] = {}
    freedoms: dict[str, int] = {}
    for term in terms:
        if term.degrees_of_freedom is not None:
            source = term.gauge or term.name
            alike[source] = alike.get(source, 0.0) + term.standard_nm**2
            freedoms[source] = term.degrees_of_freedom
    doubt = sum(of_source**2 / freedoms[source] for source, of_source in alike.items())
    standard = sqrt(variance)
    # A single term must give exactly its own degrees of freedom, although its square root was taken.
    freedom = floor(variance**2 / doubt * (1.0 + 1e-9)) if doubt else None
    expanded = t_quantile(freedom) * standard
    if apart_nm:
        expanded = max(expanded, apart_nm + t_quantile(freedom, 0.95) * standard)
    return Uncertainty(standard, freedom, expanded, tuple(terms), unknown, apart_nm)
