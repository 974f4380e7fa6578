"""Settings, entry points and the embedded servers."""
