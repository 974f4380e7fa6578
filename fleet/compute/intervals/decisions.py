"""What a person may decide where a device's counters start afresh."""

from dataclasses import dataclass
from typing import TypeAlias

from fleet.compute.intervals.figures import Device


@dataclass(frozen=True, slots=True)
class CountFromZero:
    """The device was new: what it shows at its first read was sold since the read before."""

    device: Device
    from_key: str
    to_key: str


@dataclass(frozen=True, slots=True)
class LeaveOut:
    """Nothing is posted from this device for the interval in which it changed."""

    device: Device
    from_key: str
    to_key: str


@dataclass(frozen=True, slots=True)
class CarryOn:
    """The counters went on after all: only the serial or the date of initialising changed.

    A counter that fell stays unknown even so.
    """

    device: Device
    from_key: str
    to_key: str


#: `from_key` and `to_key` name the two neighbouring reads between which the person saw the device
#: start afresh. Reads that came in between them since do not undo the decision.
Decision: TypeAlias = CountFromZero | LeaveOut | CarryOn
