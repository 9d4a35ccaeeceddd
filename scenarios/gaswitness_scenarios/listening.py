"""The links of served panels: which may be opened at all; opening and closing all of them."""

import asyncio
from collections.abc import Callable
from dataclasses import replace
from ipaddress import ip_address
from itertools import count
from typing import Self

from gaswitness_scenarios.options import ServeOptions
from gaswitness_simulator.outgoing import AS_IT_IS, Shaper
from gaswitness_simulator.serial_line import SerialLineServer
from gaswitness_simulator.serial_line_port import is_pseudo_terminal
from gaswitness_simulator.tcp import TcpServer
from gaswitness_simulator.tls import server_context
from gaswitness_simulator.units import Units
from gaswitness_sitefile.errors import GaswitnessError
from gaswitness_sitefile.link_address import LinkAddress


def refuse_unasked_reach(options: ServeOptions) -> None:
    """Raise GaswitnessError for a link that leaves this computer, unless that is asked for."""
    for link in options.listen:
        if options.beyond_loopback or _stays_here(link):
            continue
        if link.on_serial_line:
            raise GaswitnessError(
                f"{link.device} may have real devices on its line, and a virtual panel talks into "
                "theirs where unit ids meet: ask for it expressly with --beyond-loopback, or use "
                "rtu:pty"
            )
        raise GaswitnessError(
            f"{link.host} can be reached from other computers, and a virtual panel takes commands "
            "from anyone: ask for it expressly with --beyond-loopback, or listen on 127.0.0.1"
        )


def _stays_here(link: LinkAddress) -> bool:
    if link.on_serial_line:
        return is_pseudo_terminal(link.device)
    try:
        return link.host == "localhost" or ip_address(link.host).is_loopback
    except ValueError:
        return False


class Listening:
    """Links being served. `addresses`: where each is, as a client would write it.

    `lost` is done when a serial port has gone; waiting for it raises what happened.
    """

    def __init__(self) -> None:
        self.addresses: list[LinkAddress] = []
        self.lost: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        self._networks: list[TcpServer] = []
        self._lines: list[SerialLineServer] = []
        self._number = count(1).__next__

    @classmethod
    async def opened(
        cls,
        units: Units,
        options: ServeOptions,
        now: Callable[[], float],
        shaper: Shaper = AS_IT_IS,
    ) -> Self:
        """Open every link. Raises GaswitnessError where one cannot be had; then none is open."""
        self = cls()
        try:
            for link in options.listen:
                if link.on_serial_line:
                    self._open_line(link, units, now, shaper)
                else:
                    await self._open_network(link, units, options, now, shaper)
        except BaseException:
            await self.close()
            raise
        first = next(iter(units.devices))
        self.addresses = [replace(address, unit=first) for address in self.addresses]
        return self

    async def close(self) -> None:
        """Close every link."""
        for line in self._lines:
            line.close()
        for network in self._networks:
            await network.close()
        self.lost.cancel()

    def _open_line(
        self, link: LinkAddress, units: Units, now: Callable[[], float], shaper: Shaper
    ) -> None:
        line = SerialLineServer(
            units, link, now, shaper=shaper, connection=self._number(), lost=self._lose
        )
        line.open()
        self._lines.append(line)
        self.addresses.append(line.address)

    async def _open_network(
        self,
        link: LinkAddress,
        units: Units,
        options: ServeOptions,
        now: Callable[[], float],
        shaper: Shaper,
    ) -> None:
        try:
            network = TcpServer(
                units,
                now,
                framing="rtu" if link.rtu_framed else "mbap",
                shaper=shaper,
                numbers=self._number,
                tls=None if link.tls is None else server_context(link.tls),
                writers=options.writers,
            )
        except ValueError as error:
            raise GaswitnessError(f"{link}: {error}") from error
        await network.listen(link.host, link.port)
        self._networks.append(network)
        own = replace(link, host=network.host, port=network.port, tls=None)
        self.addresses.append(own)

    def _lose(self, error: Exception) -> None:
        if not self.lost.done():
            self.lost.set_exception(error)
