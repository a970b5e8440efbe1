"""`python -m tunnelsite`."""

from tunnelsite.hosts.cli.main import run

run()
