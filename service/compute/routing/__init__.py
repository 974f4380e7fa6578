"""Planning runs: which stops to visit, by whom, in what order, and why."""
