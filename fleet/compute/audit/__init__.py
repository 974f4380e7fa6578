"""The open vending audit data standard, read as real machines send it.

Bytes in, a typed :class:`~fleet.compute.audit.report.Report` out, with named warnings and never
an exception. Built from a transcription of the published standard and from files of real
machines; conformance is not claimed.
"""
