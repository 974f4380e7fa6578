"""Forms of the desk. They check shape; what may be is decided by the actions they lead to."""
