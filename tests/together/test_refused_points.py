"""A point that the panel refuses must not hide those that would be read with it."""

import panel_changes as changes


def test_one_refused_address_hides_nothing_but_itself(rehearse_with):
    """Nothing is mapped at PDU address 0 of the panel's copy: reads from 0 on are refused."""
    verdicts = rehearse_with(changes.moved("AT-101 reading", 1), "10")
    failed = [v.id for v in verdicts.values() if v.outcome.value == "failed"]
    assert failed == ["point/AT-101 reading"]
    assert verdicts["reading/AT-101"].outcome.value == "inconclusive"
    assert verdicts["reading/AT-104"].outcome.value == "proven"
    assert verdicts["reading/AT-601"].outcome.value == "proven"
