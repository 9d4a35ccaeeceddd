"""A read plan that the panel really answers: blocks that it refuses are taken apart.

One wrong address in the panel's map must not hide the points that share a block with it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from gaswitness_probe.client import Client
from gaswitness_probe.deviation import BUSY_EXCEPTIONS
from gaswitness_probe.read_plan import Block

TRIES = 2
"""How often a block is refused before it is taken apart: a panel may once be caught starting up."""


@dataclass(frozen=True, slots=True)
class Workable:
    """`blocks` that are answered, or of which silence is all that is known; `refused`: names of
    points that the panel refuses even alone. `parted`: how many blocks had to be taken apart."""

    blocks: tuple[Block, ...]
    refused: tuple[str, ...]
    parted: int


async def workable(client: Client, plan: Sequence[Block]) -> Workable:
    """Read each block once and take apart those that are refused with an exception."""
    blocks: list[Block] = []
    refused: list[str] = []
    parted = 0
    waiting = list(reversed(plan))
    while waiting:
        block = waiting.pop()
        if not await _is_refused(client, block):
            blocks.append(block)
            continue
        halves = _halves(block)
        if not halves:
            refused += [point.name for point in block.points]
            continue
        parted += 1
        waiting += reversed(halves)
    return Workable(tuple(blocks), tuple(refused), parted)


async def _is_refused(client: Client, block: Block) -> bool:
    for _ in range(TRIES):
        exchange = await client.read(block.table, block.address, block.count)
        if exchange.exception_code is None or exchange.exception_code in BUSY_EXCEPTIONS:
            return False
    return True


def _halves(block: Block) -> list[Block]:
    """The block's points in two blocks; none where all of them stand in the same place."""
    points = sorted(block.points, key=lambda point: (point.address, point.end))
    starts = sorted({point.address for point in points})
    if len(starts) < 2:
        return []
    middle = starts[len(starts) // 2]
    parts = [
        tuple(point for point in points if point.address < middle),
        tuple(point for point in points if point.address >= middle),
    ]
    return [
        replace(
            block,
            address=part[0].address,
            count=max(point.end for point in part) - part[0].address,
            points=part,
        )
        for part in parts
    ]
