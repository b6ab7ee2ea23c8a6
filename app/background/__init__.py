"""Work beside the window: tasks, the log, the self-test, garbage collection."""
