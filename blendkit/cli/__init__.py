"""The command line: one module a command, imported when it runs."""
