"""What follows a choice of place: sun chart, grading, drainage, stake-out, layout."""
