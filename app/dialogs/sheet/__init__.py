"""The sheet: its parts, their preview, printing."""
