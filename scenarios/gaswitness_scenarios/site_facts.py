"""Which facts a site has, and which of them its points list shows; no values of them."""

from gaswitness_sitefile.life_facts import BUS_FLAGS, LIFE_FLAGS
from gaswitness_sitefile.mode_facts import CHANNEL_MODES, FIRST_UP, FORCED, IN_TEST
from gaswitness_sitefile.site import Site

PANEL_FACTS = ("fault", "warm_up", "unaccepted", "inhibit", IN_TEST)
ANY_FACTS = ("A1", "A2", "A3", "fault")
_CHANNEL_FACTS = ("fault", "inhibit", *CHANNEL_MODES, "over_range", "under_range", FIRST_UP)


def facts_of(site: Site) -> dict[str, None]:
    """Every yes-or-no fact of the site by name, such as AT-101.A1, K1.energised, panel.fault."""
    facts = [f"{c.tag}.{what}" for c in site.channels for what in (*c.levels, *_CHANNEL_FACTS)]
    facts += [f"{c.tag}.{what}" for c in site.channels if c.exposure for what in c.exposure.limits]
    facts += [f"{found.tag}.active" for found in site.inputs]
    for output in site.outputs:
        facts += [f"{output.tag}.{what}" for what in ("active", "energised", FORCED)]
        facts += [f"{output.tag}.muted"] if output.mutable else []
    facts += [f"panel.{what}" for what in PANEL_FACTS]
    facts += [f"any.{what}" for what in ANY_FACTS]
    facts += _of_life(site)
    return dict.fromkeys(facts)


def _of_life(site: Site) -> list[str]:
    """Facts of a panel's life and bus: those that the site's sections ask for, and mapped ones."""
    bus = site.bus is not None and site.bus.scan is not None
    facts = [f"{one.tag}.{what}" for one in site.channels for what in BUS_FLAGS]
    panel = [f"panel.{what}" for what in LIFE_FLAGS]
    asked = (facts if bus else []) + (panel if bus or site.panel_life is not None else [])
    shown = {what for point in site.points for _, what in point.facts()}
    return asked + [one for one in (*facts, *panel) if one in shown]


def readings_of(site: Site) -> dict[str, None]:
    """Every reading of the site by name, such as AT-101.reading."""
    return dict.fromkeys(f"{channel.tag}.reading" for channel in site.channels)


def mapped_of(site: Site) -> frozenset[str]:
    """The facts and readings that points show; an output's coil tells whether it acts."""
    shown = {what for point in site.points for _, what in point.facts()}
    if f"panel.{FIRST_UP}" in shown:
        shown |= {f"{tag}.{FIRST_UP}" for tag in site.channel_of}
    for tag in site.output_of:
        if not shown.isdisjoint((f"{tag}.active", f"{tag}.energised")):
            shown |= {f"{tag}.active", f"{tag}.energised"}
    return frozenset(shown)
