"""What one machine sold between its reads, from counters that are never reset.

:func:`~fleet.compute.intervals.snapshot.snapshot_of` keeps what cutting needs of a report,
:mod:`~fleet.compute.intervals.order` puts the reads of a machine in the order in which they were
taken, :mod:`~fleet.compute.intervals.cut` subtracts one from the next, and
:mod:`~fleet.compute.intervals.chain` does so for all of them and when a late one comes in.

Nothing negative is ever posted and nothing is made up: what cannot be known is None, stands in
``why_not``, and waits for a person where a person can tell.
"""
