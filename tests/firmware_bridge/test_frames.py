"""The frame codec: round trip, corruption, torn lines, sequence gaps."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_bridge.frames import MAX_FRAME_BYTES, Decoder, Frame, crc16, encode

KEYS = st.from_regex(r"[a-z][a-z0-9]{0,4}", fullmatch=True)
TEXT = st.text(st.sampled_from("abcXYZ019 .+-_=/:"), min_size=1, max_size=12)
INTEGERS = st.integers(-(2**31) + 1, 2**31 - 1)


@st.composite
def frames(draw: st.DrawFn) -> Frame:
    kind = draw(st.sampled_from(["ID", "SM", "ST", "RQ", "AK"]))
    values = TEXT if kind == "ID" else INTEGERS
    fields = draw(st.dictionaries(KEYS, values, min_size=1, max_size=5))
    return Frame(kind, draw(st.integers(0, 65535)), draw(st.integers(0, 2**32 - 1)), fields)


def sample(seq: int, micros: int = 0, **fields: int) -> Frame:
    return Frame("SM", seq, micros, fields or {"w": 1})


def test_checksum_has_the_published_check_value():
    # CRC-16/CCITT-FALSE, check value as in the CRC catalogue's usual convention: 29B1 for "123456789"
    assert crc16(b"123456789") == 0x29B1


def test_a_frame_reads_as_in_the_definition():
    body = b"SM,7,1234567,w=-42,lo=513"
    assert encode(sample(7, 1234567, w=-42, lo=513)) == b"$" + body + b"*%04X\n" % crc16(body)


@given(frames())
def test_round_trip(frame: Frame):
    decoder = Decoder()
    assert decoder.feed(encode(frame)) == [frame]
    assert decoder.dropped == 0


@settings(max_examples=300)
@given(frames(), st.data())
def test_one_corrupt_byte_never_makes_another_frame(frame: Frame, data: st.DataObject):
    wire = bytearray(encode(frame))
    at = data.draw(st.integers(0, len(wire) - 1))
    wire[at] ^= data.draw(st.integers(1, 255))
    after = sample((frame.seq + 1) % 65536, frame.micros)
    decoder = Decoder()
    got = decoder.feed(bytes(wire) + encode(after))
    assert [each for each in got if each != after] in ([], [frame])
    assert decoder.dropped or frame in got


@given(st.lists(st.one_of(frames().map(encode), st.binary(max_size=400)), max_size=6), st.data())
def test_any_split_of_the_bytes_gives_the_same(pieces: list[bytes], data: st.DataObject):
    wire = b"".join(pieces)
    cuts = sorted(data.draw(st.lists(st.integers(0, len(wire)), max_size=6)))
    whole, parts = Decoder(), Decoder()
    expected = whole.feed(wire)
    got = [f for a, b in zip([0, *cuts], [*cuts, len(wire)], strict=True) for f in parts.feed(wire[a:b])]
    assert got == expected
    assert parts.counters() == whole.counters()


@pytest.mark.parametrize(
    "line",
    [
        b"",
        b"SM,1,2,w=3*0000",
        b"$SM,1,2,w=3",
        b"$SM,1,2*%04X" % crc16(b"SM,1,2"),
        b"$sm,1,2,w=3*%04X" % crc16(b"sm,1,2,w=3"),
        b"$SM,65536,2,w=3*%04X" % crc16(b"SM,65536,2,w=3"),
        b"$SM,1,4294967296,w=3*%04X" % crc16(b"SM,1,4294967296,w=3"),
        b"$SM,1,2,w=3.5*%04X" % crc16(b"SM,1,2,w=3.5"),
        b"$SM,1,2,w=3,w=4*%04X" % crc16(b"SM,1,2,w=3,w=4"),
        b"$SM,1,2,w=-2147483648*%04X" % crc16(b"SM,1,2,w=-2147483648"),
        b"$SM,1,2,w=3*%04x" % crc16(b"SM,1,2,w=3"),
    ],
)
def test_wrong_shape_is_counted_and_dropped(line: bytes):
    decoder = Decoder()
    assert decoder.feed(line + b"\n") == []
    assert (decoder.bad_shape, decoder.dropped) == (1, 1)


def test_carriage_return_is_tolerated_and_a_wrong_checksum_is_not():
    wire = encode(sample(1)).replace(b"\n", b"\r\n")
    decoder = Decoder()
    assert decoder.feed(wire) == [sample(1)]
    assert decoder.feed(wire.replace(b"w=1", b"w=2")) == []
    assert decoder.bad_crc == 1


def test_a_torn_line_costs_one_frame():
    decoder = Decoder()
    got = decoder.feed(encode(sample(1)) + encode(sample(2))[:9] + encode(sample(3)) + encode(sample(4)))
    assert [f.seq for f in got] == [1, 3, 4]
    assert (decoder.lost, decoder.dropped) == (1, 1)


def test_longest_frame_fits_and_one_more_byte_does_not():
    def sized(n: int) -> Frame:
        return Frame("ID", 1, 2, {"board": "x" * n})

    room = MAX_FRAME_BYTES - len(encode(sized(1))) + 1
    assert len(encode(sized(room))) == MAX_FRAME_BYTES
    with pytest.raises(ValueError):
        encode(sized(room + 1))


@pytest.mark.parametrize("fields", [{}, {"W": 1}, {"w": 2**31}, {"w": "a"}, {"a,b": 1}])
def test_what_has_no_wire_form_is_refused(fields: dict):
    with pytest.raises(ValueError):
        encode(Frame("SM", 1, 2, fields))


def test_sequence_gap_counts_lost_frames_through_the_wrap():
    decoder = Decoder()
    decoder.feed(b"".join(encode(sample(seq, i * 1000)) for i, seq in enumerate([65533, 65534, 1, 2])))
    assert decoder.lost == 2


def test_a_reset_is_not_lost_frames():
    decoder = Decoder()
    decoder.feed(encode(sample(40_000, 500_000_000)) + encode(sample(2, 90_000)))
    assert (decoder.lost, decoder.restarts) == (0, 1)
    decoder.feed(encode(Frame("ID", 3, 100_000, {"boot": "1"})) + encode(Frame("ID", 9, 5, {"boot": "2"})))
    assert (decoder.lost, decoder.restarts) == (0, 2)
