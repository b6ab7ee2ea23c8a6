"""The command line: arguments, commands, and the measurements as a table."""
