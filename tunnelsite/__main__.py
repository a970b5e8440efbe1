"""`python -m tunnelsite`."""

from tunnelsite.hosts.command_line import run

run()
