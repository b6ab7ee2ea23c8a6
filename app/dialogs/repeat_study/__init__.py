"""The repeat study: placing marks blind, and what came of it."""
