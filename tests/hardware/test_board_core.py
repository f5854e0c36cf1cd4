"""The firmware's portable core on the host, under the address and undefined-behaviour sanitizers."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_bridge.frames import Frame, crc16, encode, parse_line

quick = settings(max_examples=60, deadline=None)
u16 = st.integers(0, 2**16 - 1)
u32 = st.integers(0, 2**32 - 1)
i32 = st.integers(-(2**31) + 1, 2**31 - 1)  # the host keeps -2^31 for "no reading"


# --- frames


def test_crc_check_value(core):
    """The catalogue of CRC algorithms gives 29B1 as the check value of CRC-16/CCITT-FALSE over "123456789"."""
    assert core("crc16", b"123456789".hex()) == "29B1"


@quick
@given(st.binary(min_size=1, max_size=158))
def test_crc_agrees_with_the_hosts(core, data):
    assert core("crc16", data.hex()) == f"{crc16(data):04X}"


@quick
@given(u16, u32, st.dictionaries(st.sampled_from(["w", "lo", "hi", "va", "t1", "t5"]), i32, min_size=1))
def test_host_reads_every_frame_the_board_writes(core, seq, micros, fields):
    line = core("frame", "SM", seq, micros, *(f"{key}={value}" for key, value in fields.items()))
    assert parse_line(line.encode()) == Frame("SM", seq, micros, fields)


def test_text_cannot_break_a_frame(core):
    line = core("frame", "ID", 1, 2, "board:a,b*c$d").encode()
    assert parse_line(line).fields == {"board": "a-b-c-d"}


@pytest.mark.parametrize(("length", "fits"), [(140, True), (141, False)])
def test_frame_of_160_bytes_fits_and_no_longer(core, length, fits):
    line = core("frame", "ID", 1, 2, "board:" + "x" * length)
    assert (line != "too long") == fits
    assert not fits or len(line) + 1 == 160


# --- requests


def asked(core, **fields: int) -> str:
    body = f"RQ,77,4294967295,{','.join(f'{key}={value}' for key, value in fields.items())}".encode()
    return core("request", (b"$%s*%04X" % (body, crc16(body))).hex())


@pytest.mark.parametrize(
    ("fields", "answer"),
    [
        ({"id": 1}, "id 77 1"),
        ({"rate": 10}, "rate 77 10"),
        ({"rate": 80}, "rate 77 80"),
        ({"beep": 10000}, "beep 77 10000"),
        ({"valve": 0}, "valve 77 0"),
        ({"valve": 1}, "valve 77 1"),
        ({"id": 2}, "refused 77"),
        ({"id": 0}, "refused 77"),
        ({"rate": 20}, "refused 77"),
        ({"beep": 10001}, "refused 77"),
        ({"beep": -1}, "refused 77"),
        ({"valve": 2}, "refused 77"),
        ({"valve": 4_294_967_297}, "refused 77"),
        ({"valve": 1, "rate": 80}, "refused 77"),
        ({"pump": 1}, "refused 77"),
    ],
)
def test_requests(core, fields, answer):
    assert asked(core, **fields).startswith(answer)


@quick
@given(st.data())
def test_a_request_with_any_byte_changed_is_never_obeyed(core, data):
    line = bytearray(encode(Frame("RQ", 5, 123456, {"valve": 1})).rstrip(b"\n"))
    at = data.draw(st.integers(0, len(line) - 1))
    line[at] ^= data.draw(st.integers(1, 255))
    assert core("request", line.hex()).startswith("noise")


@quick
@given(st.binary(min_size=1, max_size=64))
def test_noise_is_no_request(core, noise):
    assert core("request", noise.hex()).startswith("noise")


@quick
@given(st.binary(max_size=100).filter(lambda noise: b"\n" not in noise), st.integers(1, 90))
def test_a_line_after_any_noise_is_whole(core, noise, cut):
    line = encode(Frame("RQ", 9, 1, {"beep": 250}))
    core("lines", (noise + b"\n")[:cut].hex() or "00")
    assert core("lines", line.hex()).split()[-1] == line.hex()


def test_a_line_of_64_bytes_is_kept_and_a_longer_one_left_out(core):
    assert core("lines", (b"$" + b"a" * 62 + b"\n").hex()) != ""
    assert core("lines", (b"$" + b"a" * 63 + b"\n").hex()) == ""
    assert core("lines", b"$ok\n".hex()) == b"$ok\n".hex()


# --- load cell

READY, READ = 1_000_000, 1_000_100


def settled(core, per_second: int = 80) -> None:
    core("cell", "rate", per_second, 0)
    for _ in range(4):
        assert core("cell", "word", 1234, 1, READY, READ) == "- 0 0"


@quick
@given(st.integers(-(2**23) + 1, 2**23 - 2))
def test_every_code_of_24_bits(core, code):
    settled(core)
    assert core("cell", "word", code & 0xFFFFFF, 1, READY, READ) == f"{code} 0 0"


@pytest.mark.parametrize("bits", [0x7FFFFF, 0x800000])
def test_saturation_is_a_fault_and_no_reading(core, bits):
    """HX711 data sheet: the output stays at 800000h or 7FFFFFh until the input is back in range."""
    settled(core)
    assert core("cell", "word", bits, 1, READY, READ) == "- 2 0"
    assert core("cell", "word", 5, 1, READY, READ) == "5 0 0"


def test_a_line_low_after_the_25th_clock_is_shorted(core):
    settled(core)
    assert core("cell", "word", 0, 0, READY, READ) == "- 4 0"


@pytest.mark.parametrize(("per_second", "period_us"), [(80, 12_500), (10, 100_000)])
def test_a_word_read_so_late_that_it_may_be_torn_is_left_out(core, per_second, period_us):
    settled(core, per_second)
    limit = period_us * 7 // 8
    ready_us = 2**32 - 50
    assert core("cell", "word", 7, 1, ready_us, limit - 50) == "7 0 0"
    assert core("cell", "word", 7, 1, ready_us, limit - 48) == "- 0 1"


def test_silence_is_noticed_after_eight_periods_and_again_after_eight_more(core):
    core("cell", "rate", 80, 2**32 - 1000)
    assert core("cell", "silent", 100_000 - 1001, 0).startswith("0")
    assert core("cell", "silent", 100_000 - 1000, 0) == "1 - 1 0"
    assert core("cell", "silent", 100_000, 1).startswith("0")
    assert core("cell", "silent", 200_000, 1) == "1 - 4 0"


# --- transducers


def block(core, *conversions: int) -> str:
    return core("transducer", *conversions, *[conversions[-1]] * (16 - len(conversions)))


def sound(core) -> None:
    for _ in range(4):
        block(core, 512)


@quick
@given(st.lists(st.integers(62, 961), min_size=16, max_size=16))
def test_sixteen_conversions_make_twelve_bits(core, conversions):
    """Four conversions a bit gained: Atmel application note AVR121, "Enhancing ADC resolution by oversampling"."""
    sound(core)
    assert core("transducer", *conversions) == f"{sum(conversions) // 4} 0"


@pytest.mark.parametrize(
    ("conversion", "answer"),
    [(0, "- 4"), (50, "- 4"), (51, "204 0"), (972, "3888 0"), (973, "- 3"), (1023, "- 3")],
)
def test_live_zero_limits(core, conversion, answer):
    """0.05 and 0.95 of the supply: common practice, no source."""
    sound(core)
    assert block(core, conversion) == answer


@quick
@given(st.integers(0, 15), st.sampled_from([0, 1023]))
def test_a_line_that_breaks_in_mid_block_gives_no_pressure(core, at, ends):
    sound(core)
    assert core("transducer", *[512] * at, *[ends] * (16 - at)).startswith("-")


def test_a_fault_ends_after_three_blocks_clear_of_the_limits(core):
    sound(core)
    block(core, 1023)
    assert [block(core, 512) for _ in range(3)] == ["- 3", "- 3", "2048 0"]
    block(core, 1023)
    assert [block(core, each) for each in (512, 965, 512, 512, 512)] == ["- 3"] * 4 + ["2048 0"]


# --- temperature probes


def scratchpad(core, sixteenths: int) -> str:
    body = (sixteenths & 0xFFFF).to_bytes(2, "little") + bytes.fromhex("4b467fff0c10")
    return (body + bytes([int(core("dallas", body.hex()))])).hex()


def test_one_wire_checksum(core):
    """The worked example of Maxim application note 27: ROM 02 1C B8 01 00 00 00 has the checksum A2."""
    assert core("dallas", "021cb801000000") == str(0xA2)
    assert core("dallas", "021cb801000000a2") == "0"


@pytest.mark.parametrize(
    ("low", "high", "sixteenths"),
    [(0x91, 0x01, 401), (0x5E, 0xFF, -162), (0x90, 0xFC, -880), (0xD0, 0x07, 2000), (0x00, 0x00, 0)],
)
def test_data_sheet_temperatures(core, low, high, sixteenths):
    """DS18B20 data sheet, table of temperature and data: +25.0625, -10.125, -55, +125, 0 degrees C."""
    core("probe", "new")
    pad = scratchpad(core, low | high << 8)
    assert core("probe", pad) == f"{sixteenths} 0"


def test_power_on_value_is_no_reading_unless_it_is_that_hot(core):
    """DS18B20 data sheet: the register's power-on value is +85 degrees C (0550h)."""
    core("probe", "new")
    assert core("probe", scratchpad(core, 0x550)) == "- 255"
    core("probe", scratchpad(core, 20 * 16))
    assert core("probe", scratchpad(core, 0x550)).startswith("-")
    core("probe", scratchpad(core, 84 * 16))
    assert core("probe", scratchpad(core, 0x550)) == "1360 0"


@pytest.mark.parametrize(("pad", "fault"), [("ff" * 9, 3), ("00" * 9, 4), ("91014b467fff0c1000", 1)])
def test_three_bad_answers_make_a_fault(core, pad, fault):
    core("probe", "new")
    core("probe", scratchpad(core, 320))
    assert [core("probe", pad) for _ in range(3)] == ["- 0", "- 0", f"- {fault}"]
    assert core("probe", scratchpad(core, 320)) == "320 0"


def rom(core, serial: int) -> str:
    body = b"\x28" + serial.to_bytes(6, "little")
    return (body + bytes([int(core("dallas", body.hex()))])).hex()


def test_a_missing_probe_never_shifts_the_others(core):
    known = [rom(core, serial) for serial in (11, 22, 33, 44, 55)]
    new, blank = rom(core, 66), "ff" * 8
    assert core("slot", 0, known[2], *known) == "2"
    assert core("slot", 0, new, *known[:3], blank, blank) == "3"
    assert core("slot", 0b11011, new, *known) == "2"
    assert core("slot", 0b11111, new, *known) == "5"


@quick
@given(st.sets(st.integers(0, 2**48 - 1), max_size=8))
def test_the_search_finds_every_part_once(core, serials):
    roms = {rom(core, serial) for serial in serials}
    found = core("search", *roms).split()
    assert sorted(found) == sorted(roms)


# --- time


@quick
@given(u32, st.integers(1000, 10**6))
def test_a_beat_comes_round_through_the_wrap_and_never_in_a_burst(core, start, period):
    def due(after_us: int) -> str:
        return core("beat", "due", (start + after_us) % 2**32)

    core("beat", "start", start, period)
    assert [due(period - 1), due(period), due(period)] == ["0", "1", "0"]
    assert [due(2 * period), due(5 * period), due(5 * period)] == ["1", "1", "0"]
    assert [due(6 * period - 1), due(6 * period)] == ["0", "1"]


@quick
@given(u32, st.integers(0, 999_999))
def test_a_hold_ends_a_second_after_its_last_request(core, start, again):
    def at(what: str, after_us: int, *rest: int) -> str:
        return core("hold", what, (start + after_us) % 2**32, *rest)

    at("start", 0, 10**6)
    at("start", again, 10**6)
    assert [at("ask", again + 999_999), at("ask", again + 10**6), at("ask", again + 10**6 + 1)] == ["1", "0", "0"]


def test_a_stopped_hold_is_off_at_once(core):
    core("hold", "start", 5, 10**6)
    assert core("hold", "stop", 6) == "0"


@quick
@given(u32, st.integers(0, 999_999))
def test_the_valve_stays_closed_after_a_reset_until_the_old_order_has_ceased(core, start, gap):
    def valve(what: str, after_us: int) -> str:
        return core("valve", what, (start + after_us) % 2**32)

    valve("start", 0)
    assert valve("open", gap) == "0 0", "a host that knew of no reset"
    assert valve("close", gap) == "1 0"
    assert valve("open", gap + 999_999) == "0 0", "it goes on asking"
    quiet = gap + 1_999_999
    assert [valve("open", quiet), valve("ask", quiet + 999_999), valve("ask", quiet + 10**6)] == ["1 1", "1 1", "1 0"]
    assert valve("open", quiet + 10**6 + 1) == "1 1", "a second order needs no wait"
    assert valve("close", quiet + 10**6 + 2) == "1 0"


# --- memory and health


def test_boot_numbers_never_repeat_and_wear_all_cells_alike(core):
    assert core("boots", 1000) == "999 63"
    assert core("boots", 65_535 + 10) == "9 4097"


def test_health_is_told_when_it_changes_and_when_asked(core):
    assert core("health", "start") == "0"
    assert core("health", "set", 1, 3) == "2"
    core("health", "told")
    assert core("health", "set", 1, 3) == "0"
    assert core("health", "set", 0, 0) == "1"
    core("health", "told")
    assert core("health", "all") == "3"
