"""The plan: one frozen value, its file, its edits, its history and its limits."""
