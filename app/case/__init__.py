"""The case that is worked on: session, store, settings, measuring in the background."""
