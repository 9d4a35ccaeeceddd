"""Ways in which a panel's copy of the site file may differ from the probe's, one at a time."""

from collections.abc import Callable

from gaswitness_sitefile.points import Order
from gaswitness_sitefile.site import Site

PanelChange = Callable[[Site], Site]


def _with_rows(site: Site, section: str, replace: Callable[[object], object | None]) -> Site:
    rows = [replace(row) for row in getattr(site, section)]
    return site.model_copy(update={section: tuple(row for row in rows if row is not None)})


def level(tag: str, name: str, **update: object) -> PanelChange:
    def changed(channel):
        if channel.tag != tag:
            return channel
        one = channel.levels[name].model_copy(update=update)
        return channel.model_copy(update={"levels": {**channel.levels, name: one}})

    return lambda site: _with_rows(site, "channels", changed)


def channel(tag: str, **update: object) -> PanelChange:
    def changed(one):
        return one.model_copy(update=update) if one.tag == tag else one

    return lambda site: _with_rows(site, "channels", changed)


def setpoint(tag: str, name: str, factor: float) -> PanelChange:
    return lambda site: level(
        tag, name, setpoint=site.channel_of[tag].levels[name].setpoint * factor
    )(site)


def cell(name: str, **update: object) -> PanelChange:
    def changed(one):
        return one.model_copy(update=update) if one.id == name else one

    return lambda site: _with_rows(site, "matrix", changed)


def missing(name: str) -> PanelChange:
    return lambda site: _with_rows(site, "matrix", lambda one: None if one.id == name else one)


def crossed(first: str, second: str) -> PanelChange:
    """Two outputs that act for each other's causes."""
    other = {first: second, second: first}

    def changed(one):
        found = one.model_copy(update={"effect": other.get(one.effect, one.effect)})
        found.__dict__.pop("cause_tree", None)
        return found

    return lambda site: _with_rows(site, "matrix", changed)


def output(tag: str, **update: object) -> PanelChange:
    def changed(one):
        return one.model_copy(update=update) if one.tag == tag else one

    return lambda site: _with_rows(site, "outputs", changed)


def point(name: str, **update: object) -> PanelChange:
    def changed(one):
        if one.name != name:
            return one
        found = one.model_copy(update=update)
        found.__dict__.pop("width", None)
        return found

    return lambda site: _with_rows(site, "points", changed)


def moved(name: str, by: int) -> PanelChange:
    def changed(one):
        return one.model_copy(update={"address": one.address + by}) if one.name == name else one

    return lambda site: _with_rows(site, "points", changed)


def addresses_swapped(first: str, second: str) -> PanelChange:
    def change(site):
        at = {one.name: one.address for one in site.points if one.name in (first, second)}
        other = {first: at[second], second: at[first]}
        return _with_rows(
            site,
            "points",
            lambda one: one.model_copy(update={"address": other.get(one.name, one.address)}),
        )

    return change


def other_word_order(name: str) -> PanelChange:
    turned = {Order.ABCD: Order.CDAB, Order.CDAB: Order.ABCD}

    def changed(one):
        return one.model_copy(update={"order": turned[one.order]}) if one.name == name else one

    return lambda site: _with_rows(site, "points", changed)
