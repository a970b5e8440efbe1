"""The command line: a command parses, calls, prints."""
