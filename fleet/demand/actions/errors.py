"""What could not be done with a fit, and why."""

from people.errors import Unable


class UnableToRefit(Unable):
    code = "unable_to_refit"


class ChunkLost(Unable):
    """The part was taken again by another worker: this one was silent for too long."""

    code = "chunk_lost"
