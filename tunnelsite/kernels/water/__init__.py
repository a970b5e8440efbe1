"""Where water runs and stands."""
