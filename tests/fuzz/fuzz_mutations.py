"""Seeded damage to frames: what a bad line, a bad peer or a bad day may do to bytes."""

BOUNDARIES = (0x00, 0x01, 0x02, 0x7F, 0x80, 0xFE, 0xFF)
LONGEST_JUNK = 40


def flipped(draw, data):
    found = bytearray(data)
    for _ in range(draw.randint(1, 3)):
        found[draw.randrange(len(found))] ^= 1 << draw.randrange(8)
    return bytes(found)


def set_to_boundary(draw, data):
    found = bytearray(data)
    found[draw.randrange(len(found))] = draw.choice(BOUNDARIES)
    return bytes(found)


def cut(draw, data):
    return data[: draw.randrange(len(data))]


def without_some(draw, data):
    at = draw.randrange(len(data))
    return data[:at] + data[at + draw.randint(1, 4) :]


def with_some(draw, data):
    at = draw.randint(0, len(data))
    return data[:at] + draw.randbytes(draw.randint(1, 4)) + data[at:]


def with_junk_before(draw, data):
    return draw.randbytes(draw.randint(1, LONGEST_JUNK)) + data


def with_junk_after(draw, data):
    return data + draw.randbytes(draw.randint(1, LONGEST_JUNK))


def junk(draw, data):
    return draw.randbytes(draw.randint(1, LONGEST_JUNK))


def unharmed(draw, data):
    return data


MUTATIONS = (
    flipped, flipped, set_to_boundary, set_to_boundary, cut, without_some, with_some,
    with_junk_before, with_junk_after, junk, unharmed,
)  # fmt: skip


def damaged(draw, frames):
    """Segments of bytes: one to three of the frames, damaged, joined, and cut apart anew."""
    whole = b""
    for _ in range(draw.choice((1, 1, 1, 2, 3))):
        data = draw.choice(MUTATIONS)(draw, draw.choice(frames))
        whole += draw.choice(MUTATIONS)(draw, data) if data and draw.random() < 0.2 else data
    if len(whole) < 2 or draw.random() < 0.7:
        return [whole]
    at = sorted(draw.sample(range(1, len(whole)), min(len(whole) - 1, draw.randint(1, 3))))
    return [whole[a:b] for a, b in zip([0, *at], [*at, len(whole)], strict=True)]
