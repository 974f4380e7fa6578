"""The audit standard's check value against published values and other implementations."""

import crcmod.predefined
import fastcrc
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.compute.audit.integrity import crc16_arc
from fleet.compute.audit.reader import read_report
from tests.fleet.compute.audit.samples import READ_A


def test_the_catalogues_check_value():
    """Source: catalogue of parametrised CRC algorithms, CRC-16/ARC, check = 0xBB3D."""
    assert crc16_arc(b"123456789") == 0xBB3D


def test_the_value_of_the_opening_segment():
    """Source: worked by a bitwise implementation apart from this one; not published."""
    assert crc16_arc(b"ST*001*0001\r\n") == 0xCCFC


_crcmod = crcmod.predefined.mkCrcFun("crc-16")


@given(st.binary(max_size=400))
def test_agrees_with_two_registry_libraries(data):
    """Sources: crcmod-plus `crc-16` and fastcrc `crc16.arc`."""
    assert crc16_arc(data) == _crcmod(data) == fastcrc.crc16.arc(data)


@given(st.binary(max_size=60), st.binary(max_size=60))
def test_can_be_continued(first, second):
    assert crc16_arc(second, crc16_arc(first)) == crc16_arc(first + second)


@pytest.mark.parametrize(
    ("stated", "verdict"),
    [
        ("CDA7", "ok"),
        ("cda7", "ok"),
        ("A7CD", "ok_byte_swapped"),
        ("CDA8", "mismatch"),
        ("XYZW", "mismatch"),
        ("0CDA7", "mismatch"),
        ("", "missing"),
    ],
)
def test_verdicts_on_the_stated_value(stated, verdict):
    """Source of CDA7: the sample's value, computed by two independent implementations."""
    report = read_report(READ_A.replace(b"G85*CDA7", b"G85*" + stated.encode()))
    assert report.integrity.verdict == verdict
