"""What plans take, beside a lower bound and the naive order: `python bench_plan.py`.

One row for each site with a plan, and one for a matrix of 200 alarm levels and 80 effects, with the
time that planning and writing took.
"""

import time
from pathlib import Path

from make_large_matrix import large_matrix_site

from gaswitness_scenarios.plan import make_plan
from gaswitness_scenarios.plan_report import figures
from gaswitness_sitefile.load import load_site

SITES = Path(__file__).parents[2] / "scenarios" / "sites"
HEADINGS = (
    "site causes effects cells tests applications hours gas_min bound_min ratio naive_min naive/gas"
)


def row(name, site):
    """The figures of one site's plan, and how long it took to make and write."""
    begun = time.perf_counter()
    plan = make_plan(site)
    text = plan.text("For a benchmark.")
    took_s = time.perf_counter() - begun
    found = figures(plan)
    causes = len({cell.cause for cell in site.matrix})
    cells = (
        name,
        causes,
        len({cell.effect for cell in site.matrix}),
        len(site.matrix),
        found.tests,
        found.applications,
        f"{found.length_s / 3600:.2f}",
        f"{found.gas_s / 60:.1f}",
        f"{found.bound_s / 60:.1f}",
        f"{found.gas_s / found.bound_s:.2f}",
        f"{found.naive_s / 60:.0f}",
        f"{found.naive_s / found.gas_s:.1f}",
        f"{took_s:.2f}",
        f"{len(text) / 1e6:.2f}",
    )
    return found, cells, took_s


def main():
    """Print the table."""
    headings = [*HEADINGS.split(), "plan_s", "MB"]
    print("| " + " | ".join(headings) + " |")
    print("|" + " --- |" * len(headings))
    for name in ("fernhollow", "thornquay", "larkwater", "coldbrook", "saltmarsh"):
        _, cells, _ = row(name, load_site(SITES / name / "site.yaml").site)
        print("| " + " | ".join(map(str, cells)) + " |")
    _, cells, _ = row("200 x 80", large_matrix_site())
    print("| " + " | ".join(map(str, cells)) + " |")


if __name__ == "__main__":
    main()
