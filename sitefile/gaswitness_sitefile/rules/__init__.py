"""Design rules: what a site file may say, but a good panel seldom does. Warnings, never errors.

The rules are tables, one module a theme; each rule has an id, a reason and its source.
"""

from gaswitness_sitefile.load import LoadedSite
from gaswitness_sitefile.rules.bus_rules import BUS_RULES
from gaswitness_sitefile.rules.gas_rules import GAS_RULES
from gaswitness_sitefile.rules.level_rules import LEVEL_RULES
from gaswitness_sitefile.rules.map_rules import MAP_RULES
from gaswitness_sitefile.rules.matrix_rules import MATRIX_RULES
from gaswitness_sitefile.rules.pace_rules import PACE_RULES
from gaswitness_sitefile.rules.rule import DesignWarning, Kind, Rule

__all__ = ["BUS_RULES", "RULES", "DesignWarning", "Kind", "Rule", "design_warnings"]

RULES: tuple[Rule, ...] = (
    *MAP_RULES,
    *LEVEL_RULES,
    *GAS_RULES,
    *MATRIX_RULES,
    *PACE_RULES,
    *BUS_RULES,
)


def design_warnings(loaded: LoadedSite) -> tuple[DesignWarning, ...]:
    """What every rule finds, in the order of the rules' ids."""
    return tuple(
        DesignWarning(
            rule=rule.id,
            place=loaded.place_of(loc),
            what=what,
            reason=rule.reason,
            source=rule.source,
            kind=rule.kind,
        )
        for rule in RULES
        for loc, what in rule.find(loaded.site)
    )
