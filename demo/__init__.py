"""The demonstration: an invented business and the audit files of its machines."""
