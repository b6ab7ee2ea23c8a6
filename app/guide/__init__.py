"""The guided first case."""
