"""Exchanges back from their entries, each held to its own bytes. Pure.

What a panel answered is worked out from request and response anew; only what bytes cannot show (a
time-out, a broken connection, a doubt of the framing) is taken from the words of the entry.
"""

import re
from collections.abc import Mapping
from functools import lru_cache
from typing import Any, Final

from gaswitness_probe.deviation import Deviation, LinkProblem
from gaswitness_probe.exchange import Exchange
from gaswitness_probe.frames import HEADER, HEADER_BYTES, Checked, check_reply
from gaswitness_probe.rtu_frames import whole
from gaswitness_sitefile.errors import GaswitnessError
from gaswitness_sitefile.link_address import RTU, RTU_TCP

_FRAMES: Final = re.compile(r" \[((?:[0-9A-F]{2} )*[0-9A-F]{2})\]$")
_RTU_LINKS: Final = (f"{RTU}:", f"{RTU_TCP}:", "memory-rtu")


class OutOfStepError(GaswitnessError):
    """A part of a record does not follow from another part of it."""


def framed_as_rtu(link: str) -> bool:
    """Whether the frames of a run over this link are RTU; they are Modbus/TCP otherwise."""
    return link.startswith(_RTU_LINKS)


def request_pdu(exchange: Exchange, *, rtu: bool) -> bytes:
    """The PDU that was sent, or was to be."""
    if exchange.unsent:
        return exchange.unsent
    return exchange.request[1:-2] if rtu else exchange.request[HEADER_BYTES:]


def exchange_of(seq: int, body: Mapping[str, Any], *, rtu: bool) -> Exchange:
    """The exchange that an entry holds.

    Raises OutOfStepError where it says that the panel answered and its bytes are no such answer.
    """
    try:
        sent_s, received_s = float(body["sent_s"]), float(body["received_s"])
        request, response = bytes.fromhex(body["request"]), bytes.fromhex(body["response"])
        problem, notes = body["problem"], body.get("notes", ())
        sign, unsent = bool(body.get("sign", False)), bytes.fromhex(body.get("unsent", ""))
    except (KeyError, TypeError, ValueError) as error:
        raise OutOfStepError(f"entry {seq} is no exchange: {error}") from error
    if not sent_s <= received_s:
        raise OutOfStepError(f"entry {seq} was answered before it was asked")
    told = tuple(problem_of(words) for words in notes)
    if problem is not None:
        found = problem_of(problem)
        return Exchange(
            seq, sent_s, received_s, request, response, None, found, None, told, sign, unsent
        )
    asked = request[1:-2] if rtu else request[HEADER_BYTES:]
    pdu = _reply_pdu(request, response, rtu=rtu) if asked else None
    if pdu is None:
        raise OutOfStepError(f"entry {seq} counts as answered, and its frames do not fit together")
    checked = _checked(asked, pdu)
    if checked.problem is not None:
        raise OutOfStepError(f"entry {seq} counts as answered, and is not: {checked.problem}")
    return Exchange(
        seq,
        sent_s,
        received_s,
        request,
        response,
        pdu,
        None,
        checked.exception_code,
        told,
        sign,
        unsent,
    )


@lru_cache(maxsize=4096)
def _checked(asked: bytes, reply: bytes) -> Checked:
    return check_reply(asked, reply)


@lru_cache(maxsize=4096)
def _whole(frame: bytes) -> bool:
    return whole(frame)


def _reply_pdu(request: bytes, response: bytes, *, rtu: bool) -> bytes | None:
    """The PDU of a frame that can be the answer to the request's frame; None where it cannot."""
    if rtu:
        fits = response[:1] == request[:1] and _whole(request) and _whole(response)
        return response[1:-2] if fits else None
    if len(response) <= HEADER_BYTES:
        return None
    transaction, protocol, length, unit = HEADER.unpack_from(response)
    header = (transaction, protocol, unit)
    asked_with, _, _, asked_unit = HEADER.unpack_from(request)
    fits = header == (asked_with, 0, asked_unit) and length == len(response) - HEADER_BYTES + 1
    return response[HEADER_BYTES:] if fits else None


def problem_of(words: str) -> LinkProblem:
    """The problem that says these words. Raises OutOfStepError where none does."""
    names = [one for one in Deviation if words == one.value or words.startswith(one.value)]
    frames = _FRAMES.search(words)
    raw = bytes.fromhex(frames[1]) if frames else b""
    rest = words[: frames.start()] if frames else words
    for name in sorted(names, key=lambda one: len(one.value), reverse=True):
        found = LinkProblem(name, raw, rest.removeprefix(name.value).removeprefix(": "))
        if str(found) == words:
            return found
    raise OutOfStepError(f"{words!r} is nothing that a link does")
