"""What the work costs at the user's own unit prices."""
