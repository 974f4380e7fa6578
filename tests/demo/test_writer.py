"""Audit files byte for byte: envelope, check value and count."""

import crcmod.predefined
import pytest
from hypothesis import given
from hypothesis import strategies as st

from demo.simulator.writer import audit_file, check_value, line

SEGMENTS = [("ID1", "ZZZ1", None, 3), ("VA1", 100, 1, 0, 0, None, None)]


def written(**habits) -> bytes:
    return audit_file(SEGMENTS, sender="ZZZ0000042", version="V1/1", transmission=1, **habits)


def test_the_check_value_is_the_catalogues():
    # Catalogue of parametrised CRC algorithms: CRC-16/ARC of "123456789" is 0xBB3D.
    assert check_value(b"123456789") == 0xBB3D
    assert check_value(b"") == 0


@given(st.binary(max_size=300))
def test_the_check_value_is_a_registry_librarys(data):
    # crcmod's predefined "crc-16" has the parameters of CRC-16/ARC.
    assert check_value(data) == crcmod.predefined.mkPredefinedCrcFun("crc-16")(data)


def test_a_file_is_enveloped_checked_and_counted():
    data = written()
    lines = data.split(b"\r\n")
    assert lines[0] == b"DXS*ZZZ0000042*VA*V1/1*1"
    assert lines[1:4] == [b"ST*001*0001", b"ID1*ZZZ1**3", b"VA1*100*1*0*0"]
    block = data[data.index(b"ST*") : data.index(b"G85")]
    assert lines[4] == b"G85*%04X" % check_value(block)
    # Segments from ST through SE: ST, two of ours, G85, SE.
    assert lines[5:] == [b"SE*5*0001", b"DXE*1*1", b""]


def test_trailing_blanks_may_stand():
    assert b"VA1*100*1*0*0**\r\n" in written(drop_trailing_blanks=False)


def test_an_old_board_swaps_the_two_bytes_of_its_check():
    def stated(data: bytes) -> bytes:
        return data.split(b"G85*")[1][:4]

    straight, swapped = stated(written()), stated(written(swap_check=True))
    assert swapped == straight[2:] + straight[:2]


@pytest.mark.parametrize("text", ["A*B", "A\rB", "A\nB"])
def test_text_that_would_break_a_segment_is_refused(text):
    with pytest.raises(ValueError, match="ID1"):
        line(("ID1", text))
