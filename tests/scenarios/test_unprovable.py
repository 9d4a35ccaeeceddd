"""A run says beforehand what its pace and link cannot prove."""

from dataclasses import replace
from pathlib import Path

from gaswitness_probe.provable import provable
from gaswitness_scenarios import events
from gaswitness_scenarios.library import demo_site_path
from gaswitness_scenarios.load import load_script
from gaswitness_scenarios.run import rehearse
from gaswitness_scenarios.unprovable import MOST_NAMED, unprovable_words
from gaswitness_sitefile.link_address import parse_link
from gaswitness_sitefile.load import load_site

LOADED = load_site(demo_site_path())
SCRIPT = Path(demo_site_path()).parent / "scripts" / "00-first-look.yaml"


def at_pace(**pace):
    site = LOADED.site
    return site.model_copy(update={"pace": site.pace.model_copy(update=pace)})


def test_the_demo_at_its_own_pace_has_nothing_to_say():
    assert list(unprovable_words(provable(LOADED.site))) == []


def test_cells_are_named_with_the_pace_that_would_do_once_for_each_reason():
    said = list(unprovable_words(provable(at_pace(poll_period_s=1.5))))
    assert len(said) >= 1
    fans = next(text for text in said if "AT-402.A1 > F3" in text)
    assert fans.startswith("may not be proven here, however good the panel: ")
    assert "poll every 0.87 s" in fans
    assert not any("AT-101.A1 > F1" in text for text in said)


def test_many_cells_are_counted_rather_than_named():
    said = list(unprovable_words(provable(at_pace(poll_period_s=1.95))))
    assert any(f"and {n} more" in text for text in said for n in range(1, 40))
    assert all(text.count(" > ") <= MOST_NAMED for text in said)


def test_an_overloaded_link_is_said_first():
    slow = parse_link("rtu:///dev/ttyS0?baud=9600")
    said = list(unprovable_words(provable(LOADED.site, slow)))
    assert said[0].startswith("the link is overloaded: reading all blocks takes 0.574 s")


def test_a_rehearsal_remarks_on_it_before_its_first_step():
    loaded = replace(LOADED, site=at_pace(poll_period_s=1.5))
    told = []
    result = rehearse(loaded, [load_script(SCRIPT, loaded.site)], progress=told.append)
    remarks = [event.text for event in told if isinstance(event, events.Remark)]
    first_step = next(n for n, e in enumerate(told) if isinstance(e, events.StepBegun))
    announced = next(
        n for n, e in enumerate(told)
        if isinstance(e, events.Remark) and "may not be proven here" in e.text
    )  # fmt: skip
    assert announced < first_step
    assert set(remarks) <= set(result.stats.remarks)
