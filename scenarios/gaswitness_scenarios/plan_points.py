"""Which points a test shows at work: those whose reading or fact it claims.

Points that no stimulus moves (constants, setpoints, heartbeat) are the survey's, which reads every
point of the list, its register, type and value, before any test.
"""

from collections.abc import Iterable, Iterator

from gaswitness_probe.facts import fact_sources, reading_points
from gaswitness_scenarios.plan_bench import Draft
from gaswitness_sitefile.site import Site


def claim_points(site: Site, tests: Iterable[Draft]) -> None:
    """Let the first test that moves what a point shows claim the point, too."""
    of_fact = {
        fact: [source.point.name for source in sources]
        for fact, sources in fact_sources(site).items()
    }
    claimed: set[str] = set()
    for test in tests:
        for fact in list(_facts(test.claims)):
            tag, _, what = fact.partition(".")
            names = of_fact.get(fact, [])
            if what == "reading":
                names = [point.name for point in reading_points(site, tag)]
            for name in names:
                if name not in claimed:
                    claimed.add(name)
                    test.claims[f"point/{name}"] = None


def _facts(claims: Iterable[str]) -> Iterator[str]:
    """The facts and readings that claims speak of."""
    for claim in list(claims):
        kind, _, rest = claim.partition("/")
        subject = rest.partition(": ")[0]
        if kind in ("flag", "level"):
            yield subject
        elif kind == "reading":
            yield f"{subject}.reading"
        elif kind == "cell":
            yield f"{subject.rpartition(' > ')[2]}.active"
        elif kind == "output":
            yield f"{subject}.active"
