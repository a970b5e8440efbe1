"""To be filled."""

ROUTES: tuple = ()
