"""Speeds on the wire beside other servers and clients, as ratios of one run. Bounds are what holds
on a busy machine; the figures themselves are printed, by `wire_speed.py` and its neighbours too."""

import asyncio

import many_panels
import pytest
import wire_clients
import wire_speed
from wire_driver import build_libmodbus_server

pytestmark = pytest.mark.benchmark


def test_the_panel_is_served_at_three_quarters_of_an_echo(tmp_path, capsys):
    rates = wire_speed.measured(wire_speed.commands(tmp_path), rounds=5, seconds=0.3)
    with capsys.disabled():
        print("", *wire_speed.table(rates), sep="\n")

    def ratio(kind, other, connections):
        return rates[kind, connections].per_s / rates[other, connections].per_s

    # measured 0.88, 0.80 and 0.76 of the echo at 1, 10 and 100 connections
    for connections in wire_speed.CONNECTIONS:
        assert ratio("panel", "echo", connections) > 0.6
        assert ratio("panel", "pymodbus", connections) > 2.5
        assert ratio("panel, no fault", "panel", connections) > 0.8
        assert ratio("panel, faults", "panel", connections) > 0.3


def test_the_probe_asks_nearly_as_fast_as_its_event_loop(tmp_path, capsys):
    command = build_libmodbus_server(tmp_path)
    if command is None:
        pytest.skip("no C compiler, or no libmodbus, on this machine")
    rates = wire_clients.measured(command)
    with capsys.disabled():
        print()
        for name, rate in rates.items():
            print(f"{name:20}{rate.per_s:10.0f}/s {rate.per_s / rates['libmodbus'].per_s:5.2f}")
    # measured 0.65 of bare asyncio, which itself is 0.76 of the C library's client
    assert rates["probe"].per_s > 0.45 * rates["asyncio, bare"].per_s
    assert rates["probe"].per_s > 0.3 * rates["libmodbus"].per_s


def test_a_thousand_panels_in_one_process(capsys):
    found = asyncio.run(many_panels.measured(1000))
    with capsys.disabled():
        print(f"\n{found}")
    assert found.start_s < 60
    assert found.read_s < 15
    assert found.kib_each is None or found.kib_each < 512
