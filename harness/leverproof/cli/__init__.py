"""The command line: one module a command, each with ``add`` (its arguments) and ``run``. No logic in here."""
