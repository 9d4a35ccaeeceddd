"""Asking a panel who it is, by Read Device Identification (V1.1b3 clause 6.21)."""

from typing import Final

from gaswitness_probe.client import Client
from gaswitness_probe.frames import parse_identification

CODES: Final = (3, 2, 1)
"""Extended, regular, basic: a device answers a code above its conformity level with what it has,
or with an exception (then the next is tried)."""
MOST_REPLIES: Final = 32


async def read_identity(client: Client) -> dict[int, bytes]:
    """All objects that the panel gives, by object id; empty where it does not identify itself."""
    for code in CODES:
        found = await _read(client, code)
        if found is None:
            return {}
        if found:
            return found
    return {}


async def _read(client: Client, code: int) -> dict[int, bytes] | None:
    """The objects under one code; None where asking on makes no sense."""
    objects: dict[int, bytes] = {}
    following = 0
    for _ in range(MOST_REPLIES):
        exchange = await client.read_identification(code, following)
        if exchange.exception_code is not None:
            return None if exchange.exception_code == 1 else objects
        if exchange.pdu is None:
            return objects or None
        try:
            reply = parse_identification(exchange.pdu)
        except ValueError:
            return objects
        objects |= reply.objects
        if not reply.more_follows or reply.next_object <= following:
            return objects
        following = reply.next_object
    return objects
